"""May the search for circular rubbish wait while a hundred thousand notes are read?

Notes and states hold no circles, yet Python goes through all of them again and again while they are made: a fifth of
the time of a large nursery's forecast.
"""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def pause_collecting() -> Iterator[None]:
    """Keep the cyclic collector from running meanwhile, and let it run again afterwards if it ran before.

    Notes
    -----
    The collector is one for the whole process: of two readings at once, the first to end lets it run again, which costs
    the other some time and nothing else. Memory is freed by counting references all the while.
    """
    ran = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if ran:
            gc.enable()
