"""Where in the books is what? The few look-ups that every room needs.

A name that is not in the books is a refusal that says what is there, never a fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date

from firstsilk.answers import refuse, shorten_value
from firstsilk.records.models import Line, LineName, Lot, Row, Season, Site, Station, Tag, Trial
from firstsilk.science.seed.tags import read_tag, tag_for_serial


def get_station(code: str) -> Station:
    """The station of this code, or the only one if the code is empty."""
    found = list(Station.objects.filter(code=code) if code else Station.objects.all()[:2])
    if len(found) == 1:
        return found[0]
    known = ", ".join(Station.objects.values_list("code", flat=True))
    if not known:
        raise refuse("no_station_yet", "There is no station in these books yet.", "Bring one: firstsilk bring DIR.")
    if not code:
        raise refuse("station_unclear", "There are several stations here.", f"Name one of: {known}.")
    raise refuse("station_unknown", f"There is no station {code!r} here.", f"Stations here: {known}.")


def get_site(station: Station, code: str = "") -> Site:
    """The site of this code, or the station's home site if the code is empty."""
    found = Site.objects.filter(station=station, code=code) if code else Site.objects.filter(station=station)
    site = found.order_by("-is_home", "code").first()
    if site is None:
        known = ", ".join(Site.objects.filter(station=station).values_list("code", flat=True)) or "none yet"
        raise refuse("site_unknown", f"There is no site {code!r} in the books.", f"Sites in the books: {known}.")
    return site


def get_season(station: Station, name: str = "", today: date | None = None) -> Season:
    """The season of this name; without a name the season of `today`'s year, else the latest one."""
    seasons = Season.objects.filter(station=station).select_related("site")
    if name:
        season = seasons.filter(name=name).first()
    else:
        season = seasons.filter(year=today.year).order_by("name").first() if today else None
        season = season or seasons.order_by("-year", "name").first()
    if season is None:
        known = ", ".join(seasons.values_list("name", flat=True)) or "none yet"
        raise refuse("season_unknown", f"There is no season {name!r} in the books.", f"Seasons: {known}.")
    return season


def get_line(station: Station, name: str, column: str = "") -> Line:
    """The line or hybrid with this name, its own or another; `column` is where a table named it, for the refusal."""
    line = find_lines(station, [name]).get(name)
    if line is None:
        if not name:
            raise refuse("line_nameless", "The line is not named.", "Name it.", column=column)
        near = Line.objects.filter(station=station, name__icontains=name[:4]).values_list("name", flat=True)[:5]
        hint = f"Names that look alike: {', '.join(near)}." if near else "Bring it with the table of lines first."
        raise refuse("line_unknown", f"There is no line {shorten_value(name)!r} in the books.", hint, column=column)
    return line


def find_lines(station: Station, names: Iterable[str]) -> dict[str, Line]:
    """The lines that have these names, their own or another, by the name asked for; what nobody has is left out."""
    wanted = set(names)
    found = {line.name: line for line in Line.objects.filter(station=station, name__in=wanted)}
    if lacking := wanted - found.keys():
        others = LineName.objects.filter(station=station, name__in=lacking).select_related("line")
        found |= {one.name: one.line for one in others}
    return found


def get_lot(station: Station, tag_or_name: str) -> Lot:
    """The lot with this tag or name."""
    lot = Lot.objects.filter(station=station, name=tag_or_name).first()
    lot = lot or Lot.objects.filter(station=station, tag=_as_tag(tag_or_name)).first()
    if lot is None:
        told = f"There is no lot {tag_or_name!r} in the books."
        raise refuse("lot_unknown", told, _tell_other_tag(station, tag_or_name))
    return lot


def _tell_other_tag(station: Station, text: str) -> str:
    """What to do about a tag that is no lot's: it hangs on something else, or was misread."""
    tag = _as_tag(text)
    other = Tag.objects.filter(station=station, code=tag).first() if tag else None
    if other is not None and other.hangs_on != "lot":
        return f"That tag hangs on a {other.hangs_on}: take the one of the lot."
    if not tag and re.fullmatch(r"[0-9A-Za-z]{4}-?[0-9A-Za-z]{4}", text.strip()):
        return "One of its signs is misread, or two are exchanged: check the label once more."
    return "Check the label once more."


def get_row(season: Season, tag_or_number: str) -> Row:
    """The row with this tag, or this number in the season."""
    rows = Row.objects.filter(station=season.station_id, season=season).select_related("line", "lot", "target")
    row = rows.filter(number=int(tag_or_number)).first() if tag_or_number.isdecimal() else None
    row = row or rows.filter(tag=_as_tag(tag_or_number)).first()
    if row is None:
        raise refuse("row_unknown", f"There is no row {tag_or_number!r} in season {season.name}.", "Check the tag.")
    return row


def get_trial(station: Station, name: str) -> Trial:
    """The trial of this name."""
    trial = Trial.objects.filter(station=station, name=name).select_related("site").first()
    if trial is None:
        known = Trial.objects.filter(station=station).order_by("-year", "name").values_list("name", flat=True)[:6]
        raise refuse("trial_unknown", f"There is no trial {name!r}.", f"Trials: {', '.join(known) or 'none yet'}.")
    return trial


def read_tag_given(text: str) -> str:
    """The eight signs of a tag as somebody typed it, with or without its hyphen.

    Raises
    ------
    InputRefused
        If it is no tag.
    """
    tag = _as_tag(text)
    if not tag:
        raise refuse("tag_unreadable", f"{shorten_value(text)!r} is no tag.", "Read its eight signs once more.")
    return tag


def _as_tag(text: str) -> str:
    try:
        return read_tag(text)
    except Exception:
        return ""


def take_tags(station: Station, hangs_on: str, count: int) -> list[str]:
    """Give out new tag codes and write them down; call inside a transaction.

    The station's row is locked first, so that no code is ever given twice.
    """
    locked = Station.objects.select_for_update().get(pk=station.pk)
    codes = [tag_for_serial(locked.last_tag_serial + step) for step in range(1, count + 1)]
    locked.last_tag_serial += count
    locked.save(update_fields=["last_tag_serial"])
    Tag.objects.bulk_create([Tag(station=station, code=code, hangs_on=hangs_on) for code in codes], batch_size=500)
    return codes
