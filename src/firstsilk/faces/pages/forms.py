"""How is what a person typed read, and a wrong entry told?"""

from __future__ import annotations

from datetime import date

from django.http import HttpRequest

from firstsilk.answers import refuse


def read_form_text(request: HttpRequest, name: str, wanted: bool = False) -> str:
    """The trimmed text of a field; refused if it is wanted and empty."""
    text = request.POST.get(name, "").strip()
    if wanted and not text:
        raise refuse("field_empty", f"The field {name.replace('_', ' ')} is empty.", "Fill it in and send again.")
    return text


def read_form_day(request: HttpRequest, name: str) -> date | None:
    """The date of a field, None if empty."""
    text = read_form_text(request, name)
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise refuse("not_a_date", f"{text!r} is not a date.", "Write it as year-month-day: 2031-07-21.") from None


def read_form_number(
    request: HttpRequest, name: str, lowest: float | None = None, highest: float | None = None
) -> float | None:
    """The number of a field within its bounds, None if empty."""
    text = read_form_text(request, name).replace(" ", "")
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = float("nan")
    if value != value or (lowest is not None and value < lowest) or (highest is not None and value > highest):
        bounds = f" from {lowest:g}" if lowest is not None else ""
        bounds += f" to {highest:g}" if highest is not None else ""
        raise refuse("not_a_number", f"{name.replace('_', ' ')}: {text!r} is not a number{bounds}.", "Send it again.")
    return value


def read_form_whole(request: HttpRequest, name: str, lowest: int = 0, highest: int = 10**7) -> int | None:
    """The whole number of a field within its bounds, None if empty."""
    value = read_form_number(request, name, lowest, highest)
    if value is not None and value != int(value):
        raise refuse("not_whole", f"{name.replace('_', ' ')}: a whole number is wanted, not {value}.", "Send it again.")
    return None if value is None else int(value)
