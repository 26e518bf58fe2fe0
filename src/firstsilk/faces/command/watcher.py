"""Who looks at the places where weather comes from by itself, while the station is served?

A process of its own beside the server, as the minder of the worker is and for the same reason: the server forks, and a
fork beside a running thread can stand still for ever. It ends with the server, even one that was killed, and nothing
that a place holds or does ends it.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

from firstsilk.faces.command.station import prepare_books

if TYPE_CHECKING:
    from firstsilk.faces.files.feed_places import Rules
    from firstsilk.work.climate.feeds import FeedFacts, Look

LOOK_S = 0.5
TICK_S = 5.0
"""Seconds between two questions to the books whether a place is due: so soon is a look that was asked for."""


def watch_feeds(parent: int) -> None:
    """Look at each place when its time has come, until the process `parent` is gone or this one is asked to end."""
    signal.signal(signal.SIGTERM, _end_quietly)
    signal.signal(signal.SIGINT, _end_quietly)
    prepare_books()
    from django.conf import settings

    if not settings.FEED_MINUTES:
        return
    every = timedelta(minutes=settings.FEED_MINUTES)
    asked = -TICK_S
    while os.getppid() == parent:
        if time.monotonic() - asked >= TICK_S:
            look_at_due(every)
            asked = time.monotonic()
        time.sleep(LOOK_S)


def _end_quietly(number: int, frame: object) -> None:
    sys.exit(0)


def look_at_due(every: timedelta) -> int:
    """Look at all places whose time has come; how many. A fault of one is told and passed over."""
    from django.db import connections

    from firstsilk.work.climate.feeds import list_due_feeds

    count = 0
    try:
        for feed in list_due_feeds(datetime.now(UTC), every):
            look_at(feed)
            count += 1
    except Exception as fault:  # the books do not answer: they may when asked again
        print(f"the places of weather cannot be looked up: {fault}", file=sys.stderr, flush=True)
    finally:
        connections.close_all()
    return count


def look_at(feed: FeedFacts) -> Look | None:
    """Look at one place; None if it failed in a way nobody foresaw, which is told and written down."""
    from firstsilk.faces.files.feed_looks import look_at_feed
    from firstsilk.work.climate.feeds import Look, note_look

    now = datetime.now(UTC)
    try:
        return look_at_feed(feed, now, read_rules())
    except Exception as fault:
        print(f"feed {feed.id}: {type(fault).__name__}: {fault}", file=sys.stderr, flush=True)
        note_look(feed, now, Look(f"The look failed: {type(fault).__name__}.", failed=True))
        return None


def read_rules() -> Rules:
    """What the one who runs the station allows."""
    from django.conf import settings

    from firstsilk.faces.files.feed_places import Rules

    return Rules(settings.HOME, settings.FEED_HOSTS, settings.FEED_FOLDERS)


def start_watcher() -> subprocess.Popen[bytes]:
    """Start the watcher as a process of this one."""
    return subprocess.Popen([sys.executable, "-m", "firstsilk.faces.command.watcher"], stdin=subprocess.DEVNULL)


if __name__ == "__main__":
    watch_feeds(os.getppid())
