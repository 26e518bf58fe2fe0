"""How does a value look on a page? Template filters, few and the same everywhere."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django import template

from firstsilk.answers import InputRefused
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.climate.season import SCALE_NAMES
from firstsilk.work.flowering.pollen_window import write_clock
from firstsilk.work.flowering.rows import RowFacts

register = template.Library()

MISSING = "–"


@register.filter
def day(value: date | None) -> str:
    """A day as ``21 Jul``; a dash if there is none."""
    return f"{value.day} {value:%b}" if value else MISSING


@register.filter
def days(span: tuple[date | None, date | None, date | None] | None) -> str:
    """The low and high of a date forecast as ``21 Jul to 23 Jul``; one day if both are the same."""
    if not span or not span[0] or not span[2]:
        return MISSING
    return day(span[0]) if span[0] == span[2] else f"{day(span[0])} to {day(span[2])}"


@register.filter
def long_day(value: date | None) -> str:
    """A day as ``Monday 21 July 2031``."""
    return f"{value:%A} {value.day} {value:%B %Y}" if value else MISSING


@register.filter
def full_day(value: date | None) -> str:
    """A day as ``21 Jul 2031``."""
    return f"{value.day} {value:%b %Y}" if value else MISSING


@register.filter
def moment(text: str) -> str:
    """The clock of a device, ``2031-07-21T10:05:00``, as ``21 Jul 2031 10:05``; anything else as it is."""
    try:
        taken = datetime.fromisoformat(text)
    except ValueError:
        return text
    return f"{full_day(taken.date())} {taken:%H:%M}"


@register.filter
def noted(value: str) -> str:
    """The value of a note: a day as ``21 Jul 2031``, all else as it is."""
    try:
        return full_day(date.fromisoformat(value)) if len(value) == 10 else value
    except ValueError:
        return value


@register.filter
def scale(code: str) -> str:
    """A scale of heat units as people write it: ``chu`` reads ``CHU``."""
    return next((name for known, name in SCALE_NAMES.items() if known == code), code)


@register.filter
def number(value: float | None, places: int = 0) -> str:
    """A number with grouped thousands and a fixed count of decimals; a dash if there is none."""
    if value is None or value != value:
        return MISSING
    return f"{value:,.{int(places)}f}".replace("-", "−")


@register.filter
def signed(value: float | None, places: int = 0) -> str:
    """A difference with its sign."""
    if value is None or value != value:
        return MISSING
    if not round(value, int(places)):
        return f"{0:.{int(places)}f}"  # a nought has no sign
    return f"{value:+,.{int(places)}f}".replace("-", "−")


@register.filter
def share(value: float | None) -> str:
    """A share in 0..1 as a percentage."""
    return MISSING if value is None or value != value else f"{100 * value:.0f} %"


@register.filter
def share_to(low: float | None, high: float | None) -> str:
    """Both ends of an interval of a share, as ``46–76 %``."""
    return MISSING if low is None or high is None else f"{100 * low:.0f}–{100 * high:.0f} %"


@register.filter
def plus_minus(value: float | None, places: int = 0) -> str:
    """A standard error as ``± 210``."""
    return "" if value is None or value != value else f"± {value:,.{int(places)}f}"


@register.filter
def tag(code: str) -> str:
    """A tag as printed: ``XXXX-XXXX``; a number written by hand as it is."""
    try:
        return print_tag(code) if len(code) == 8 else code
    except InputRefused:
        return code


@register.filter
def spans(rows: Sequence[RowFacts]) -> list[tuple[RowFacts, RowFacts]]:
    """Rows under a spray interval, in order, as first and last of those next to each other with the same end."""
    found: list[tuple[RowFacts, RowFacts]] = []
    for row in rows:
        first, last = found[-1] if found else (None, None)
        if first and last and row.number == last.number + 1 and row.no_entry_until == last.no_entry_until:
            found[-1] = (first, row)
        else:
            found.append((row, row))
    return found


@register.filter
def words(code: str) -> str:
    """A code as words: ``go_on`` reads ``go on``."""
    return str(code).replace("_", " ")


@register.filter
def clock(hour: float | None) -> str:
    """An hour of the day as ``09:45``; a dash if there is none."""
    return write_clock(hour)


@register.filter
def by_clock(value: datetime | None, time_zone: str) -> str:
    """An instant by a place's clock as ``24 Jul 2031 06:30``; a dash if there is none."""
    return moment(value.astimezone(ZoneInfo(time_zone)).replace(tzinfo=None).isoformat()) if value else MISSING
