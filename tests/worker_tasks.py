"""Tasks for workers that go well, are refused, fail, die or never end."""

import os
import time

from firstsilk.answers import refuse


def do_task(task: str) -> str:
    """Do what the task says."""
    if task == "refuse":
        raise refuse("not_today", "This task is refused")
    if task == "fail":
        raise ZeroDivisionError("by nothing")
    if task == "die":
        os._exit(9)
    if task == "sleep":
        time.sleep(600)
    if task == "threads":
        return os.environ.get("OPENBLAS_NUM_THREADS", "none")
    return task.upper()
