"""How are days that are not sown, and days of the week that are, written at the command line and on a page?"""

from __future__ import annotations

from datetime import date

WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def read_closed(text: str) -> tuple[date, ...]:
    """Dates joined by commas, as ``2031-05-18,2031-05-25``; raises `ValueError` with a sentence."""
    days = []
    for part in filter(None, (part.strip() for part in text.split(","))):
        try:
            days.append(date.fromisoformat(part))
        except ValueError:
            raise ValueError(f"closed days are dates joined by commas, such as 2031-05-18; not {part!r}") from None
    return tuple(days)


def read_weekdays(text: str) -> tuple[int, ...]:
    """Names joined by commas, as ``mon,tue``, as numbers from Monday = 0; raises `ValueError` with a sentence."""
    asked = [part.strip().lower() for part in text.split(",") if part.strip()]
    if any(name not in WEEK for name in asked):
        raise ValueError(f"weekdays are names joined by commas, of {', '.join(WEEK)}; not {text!r}")
    return tuple(sorted({WEEK.index(name) for name in asked}))
