"""How does a station say from the shell where its weather comes from by itself?"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result
from firstsilk.faces.command.station import StationCode, Today, open_books

if TYPE_CHECKING:
    from firstsilk.work.climate.feeds import FeedFacts
    from firstsilk.work.occasion import Occasion

COLUMNS = ("feed", "site", "kind", "place", "is_on", "looked_at", "taken_at", "failed", "said")
Site = Annotated[str, typer.Option("--site", help="Code of the site whose days come; the home site if absent.")]


def feed(
    do: Annotated[str, typer.Argument(metavar="DO", help="list, add, look, stop or start.")] = "list",
    what: Annotated[str, typer.Argument(metavar="WHAT", help="A folder or address to add; else a feed's number.")] = "",
    site: Site = "",
    station: StationCode = "",
    today: Today = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Where new days come from by themselves: a folder that is watched, or an address that is asked.

    `feed add FOLDER` or `feed add https://HOST/FILE` sets one, `feed look [NUMBER]` looks at once at one or all; while
    the station is served, all are looked at by themselves. Each look ends with a sentence, which the list shows.
    """
    on = open_books(station, today)
    from firstsilk.work.climate.feeds import list_feeds, switch_feed

    if do == "add":
        _add(on, what, site)
    elif do in ("stop", "start"):
        switch_feed(on, _number(what), do == "start")
    elif do == "look":
        _look(on, what)
    elif do != "list":
        raise refuse("feed_what", f"{do!r} is nothing a feed can do.", "Say list, add, look, stop or start.")
    feeds = list_feeds(on).feeds
    give_result(COLUMNS, [_row(one) for one in feeds], out, as_json)


def _add(on: Occasion, what: str, site: str) -> None:
    from firstsilk.faces.command.watcher import read_rules
    from firstsilk.faces.files.feed_places import check_place
    from firstsilk.work.climate.feeds import add_feed

    kind, place = check_place(what, read_rules())
    add_feed(on, site, kind, place)


def _look(on: Occasion, what: str) -> None:
    from firstsilk.faces.command.watcher import look_at
    from firstsilk.work.climate.feeds import list_feeds, read_feed

    chosen = (read_feed(on, _number(what)),) if what else tuple(one for one in list_feeds(on).feeds if one.is_on)
    for one in chosen:
        look_at(one)


def _number(what: str) -> int:
    if not what.isdecimal():
        raise refuse("feed_unknown", f"{what!r} is no number of a feed.", "Look at the list: firstsilk feed list.")
    return int(what)


def _row(one: FeedFacts) -> list[object]:
    looked, taken = _moment(one.looked_at), _moment(one.taken_at)
    return [one.id, one.site, one.kind, one.shown, one.is_on, looked, taken, one.failed, one.said]


def _moment(at: datetime | None) -> str | None:
    return None if at is None else at.strftime("%Y-%m-%dT%H:%M:%SZ")
