"""What became of a look at a folder or an address: was there something new, and did it come in?

Whatever happens there, a look ends with a sentence. The same content is not read twice on a day, whether it came in or
was refused. Only whole days are taken: today's reading is still growing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from firstsilk.answers import FirstsilkError, InputRefused
from firstsilk.faces.files.feed_places import Found, PlaceFault, Rules, fetch_address, read_folder
from firstsilk.faces.files.tables import table_from_bytes
from firstsilk.faces.files.weather_in import Asked, Taken, take_weather
from firstsilk.work.climate.feeds import FeedFacts, Look, note_look
from firstsilk.work.occasion import Occasion
from firstsilk.work.station import read_station

WHO = "feed"


def look_at_feed(feed: FeedFacts, now: datetime, rules: Rules) -> Look:
    """Look at a place, take in what is new there, write down what came of it, and tell it. Raises nothing of ours.

    Notes
    -----
    Checked by ``tests/faces/test_feeds.py``.
    """
    try:
        look = _look(feed, now, rules)
    except PlaceFault as fault:
        look = Look(str(fault), failed=True)
    except FirstsilkError as fault:
        look = Look(str(fault), failed=True)
    note_look(feed, now, look)
    return look


def _look(feed: FeedFacts, now: datetime, rules: Rules) -> Look:
    found = read_folder(feed.place, rules) if feed.kind == "folder" else (fetch_address(feed.place, rules),)
    station = read_station(feed.station)
    digest = _hash(found, station.today(now).isoformat())
    if digest == feed.taken_hash:
        return Look(feed.said, feed.failed, digest, is_new=False)
    if not found:
        return Look("There is no file of weather in the folder yet.", failed=False, hash=digest)
    on = Occasion(station.code, station.today(now), now, WHO)
    hour = None if station.held_date else now.astimezone(ZoneInfo(station.time_zone)).hour
    said, failed, took = [], False, False
    for one in found:
        text, refused, new = _take(on, feed, one, hour)
        said.append(text)
        failed |= refused
        took |= new
    return Look(" ".join(said), failed, digest, took)


def _hash(found: Sequence[Found], today: str) -> str:
    """What was found, on which day: a day that was still growing is over on the next."""
    digest = hashlib.sha256(today.encode())
    for one in found:
        inner = hashlib.sha256(one.content).hexdigest()
        digest.update(f"{len(one.name)} {one.name} {inner} {one.why_not}\n".encode("utf-8", "surrogateescape"))
    return digest.hexdigest()


def _take(on: Occasion, feed: FeedFacts, found: Found, hour: int | None) -> tuple[str, bool, bool]:
    """What to say of one file, whether it was refused, and whether something new came in."""
    if found.why_not:
        return f"{found.name}: not read, {found.why_not}.", True, False
    try:
        taken = take_weather(on, table_from_bytes(found.content, found.name), Asked(feed.site, before_hour=(hour,)))
    except InputRefused as no:
        if no.refusal is not None and no.refusal.code in ("no_days", "no_hours"):
            return f"{found.name}: no whole day in it yet.", False, False
        return f"{found.name}: refused whole. {_say_no(no)}", True, False
    except FirstsilkError as fault:
        return f"{found.name}: {fault}", True, False
    return f"{found.name}: {_say_taken(taken)}", False, taken.n_new > 0


def _say_no(no: InputRefused) -> str:
    if not no.findings:
        return str(no)
    stops = [one for one in no.findings if one.stops]
    more = f" And {len(stops) - 1} more." if len(stops) > 1 else ""
    return f"{stops[0].as_text()}{more}"


def _say_taken(taken: Taken) -> str:
    doubts = f" {len(taken.findings)} to look at: {taken.findings[0].as_text()}" if taken.findings else ""
    return f"{' '.join(taken.sentences)}{doubts}"
