"""From where do new days of a site come by themselves, and what became of the last look there?

The books hold the place and what was said; going there and reading is the faces' part. A place is looked at by the
process that `firstsilk serve` starts beside the server; what it brings is taken whole or not at all, as a file sent by
hand.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from urllib.parse import urlsplit

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import Station, WeatherFeed
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_site, get_station

KINDS = ("folder", "address")
LONGEST_PLACE, LONGEST_SAID = 500, 1000


@dataclass(frozen=True, slots=True)
class FeedFacts:
    """One place that is looked at. `shown` is the place as it may be shown; `said` what came of the last look."""

    id: int
    station: str
    site: str
    site_name: str
    kind: str
    place: str
    shown: str
    is_on: bool
    set_by: str
    set_at: datetime
    looked_at: datetime | None
    taken_at: datetime | None
    taken_hash: str
    said: str
    failed: bool


@dataclass(frozen=True, slots=True)
class FeedList:
    """All places of a station, those that are looked at first."""

    feeds: tuple[FeedFacts, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class Look:
    """What came of one look: what to say, whether it failed, the hash of what was read, whether days were taken in.

    An empty hash means that nothing was read; `is_new` is False where the same was read before, and nothing was done.
    """

    said: str
    failed: bool
    hash: str = ""
    took: bool = False
    is_new: bool = True


def show_place(kind: str, place: str) -> str:
    """A place as it may be shown: an address without what stands in its query, which often is a key."""
    if kind != "address":
        return place
    parts = urlsplit(place)
    query = "?…" if parts.query else ""
    host = parts.hostname or ""
    port = f":{parts.port}" if parts.port else ""
    return f"{parts.scheme}://{host}{port}{parts.path}{query}"


def list_feeds(on: Occasion) -> FeedList:
    """All places of the station from which weather comes by itself."""
    station = get_station(on.station)
    feeds = WeatherFeed.objects.filter(station=station).select_related("site", "station")
    told = tuple(_facts(one) for one in feeds.order_by("-is_on", "site__name", "pk"))
    failed = sum(one.failed and one.is_on for one in told)
    missing = (f"{failed} of them did not give what they should at the last look",) if failed else ()
    return FeedList(told, Basis((("feeds", len(told)),), missing))


def add_feed(on: Occasion, site: str, kind: str, place: str) -> FeedFacts:
    """Look at a folder or an address for new days of a site from now on; the place was checked by who calls.

    Raises
    ------
    InputRefused
        If there is no such site, the place is too long, or it is looked at already.

    Notes
    -----
    Checked by ``tests/faces/test_feeds.py``.
    """
    if kind not in KINDS or not place or len(place) > LONGEST_PLACE:
        raise refuse("feed_unclear", f"A place has 1 to {LONGEST_PLACE} signs.", "Name a folder or an address.")
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        where = get_site(station, site)
        there = WeatherFeed.objects.filter(station=station, kind=kind, place=place).select_related("site").first()
        if there is not None:
            message = f"{show_place(kind, place)} is looked at already, for {there.site.name}."
            raise refuse("feed_there", message, "Stop or start that one.")
        made = WeatherFeed.objects.create(
            station=station, site=where, kind=kind, place=place, set_by=on.who, set_at=on.now
        )
    return _facts(made)


def switch_feed(on: Occasion, number: int, is_on: bool) -> FeedFacts:
    """Stop looking at a place, or start again; started, it is looked at soon and read anew."""
    feed = _get(on, number)
    feed.is_on = is_on
    if is_on:
        feed.looked_at, feed.taken_hash = None, ""
    feed.save(update_fields=["is_on", "looked_at", "taken_hash"])
    return _facts(feed)


def ask_look(on: Occasion, number: int) -> FeedFacts:
    """Have a place looked at within seconds by the process beside the server, and read anew."""
    feed = _get(on, number)
    if not feed.is_on:
        raise refuse("feed_stopped", f"{show_place(feed.kind, feed.place)} is not looked at.", "Start it again first.")
    return switch_feed(on, number, True)


def read_feed(on: Occasion, number: int) -> FeedFacts:
    """One place of the station."""
    return _facts(_get(on, number))


def _get(on: Occasion, number: int) -> WeatherFeed:
    station = get_station(on.station)
    feed = WeatherFeed.objects.filter(station=station, pk=number).select_related("site", "station").first()
    if feed is None:
        raise refuse("feed_unknown", f"There is no feed {number}.", "Look at the list: firstsilk feed list.")
    return feed


def list_due_feeds(now: datetime, every: timedelta) -> tuple[FeedFacts, ...]:
    """The places of all stations whose time has come, longest unseen first."""
    feeds = WeatherFeed.objects.filter(is_on=True).select_related("site", "station").order_by("looked_at", "pk")
    return tuple(_facts(one) for one in feeds if one.looked_at is None or one.looked_at <= now - every)


def note_look(feed: FeedFacts, now: datetime, look: Look) -> None:
    """Write down what came of a look; what was read before and is the same changes only the time."""
    changes: dict[str, object] = {"looked_at": now}
    if look.is_new:
        said = look.said if len(look.said) <= LONGEST_SAID else f"{look.said[: LONGEST_SAID - 1]}…"
        changes |= {"said": said, "failed": look.failed}
        if look.hash:
            changes["taken_hash"] = look.hash
        if look.took:
            changes["taken_at"] = now
    WeatherFeed.objects.filter(pk=feed.id).update(**changes)


def _facts(feed: WeatherFeed) -> FeedFacts:
    return FeedFacts(
        id=feed.pk,
        station=feed.station.code,
        site=feed.site.code,
        site_name=feed.site.name,
        kind=feed.kind,
        place=feed.place,
        shown=show_place(feed.kind, feed.place),
        is_on=feed.is_on,
        set_by=feed.set_by,
        set_at=feed.set_at,
        looked_at=feed.looked_at,
        taken_at=feed.taken_at,
        taken_hash=feed.taken_hash,
        said=feed.said,
        failed=feed.failed,
    )
