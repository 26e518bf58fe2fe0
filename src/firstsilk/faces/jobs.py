"""Who runs the jobs that pages ask for? The task that the queue carries, and its start."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime

from django.db import transaction
from django_tasks import task

from firstsilk.work.jobs import ask_job, run_job
from firstsilk.work.occasion import Occasion


def _clock() -> datetime:
    return datetime.now(UTC)


@task()
def run_asked_job(job_id: int) -> str:
    """Run one job row; its state says the rest."""
    return run_job(job_id, _clock).state


def start_job(on: Occasion, kind: str, arguments: Mapping[str, object]) -> int:
    """Write a job down and put it on the queue, both or neither; returns its number."""
    with transaction.atomic():
        job_id = ask_job(on, kind, arguments)
        run_asked_job.enqueue(job_id)
    return job_id
