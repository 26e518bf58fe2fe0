"""How does a person at the desk write one note about a row, with the row named as people name it?"""

from __future__ import annotations

from datetime import date

from firstsilk.answers import refuse
from firstsilk.science.flowering.notes import KINDS
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_row, get_season, get_station


def write_row_note(
    on: Occasion,
    season: str,
    kind: str,
    row: str,
    value: str = "",
    detail: str = "",
    male: str = "",
    bag: str = "",
    taken_on: date | None = None,
    worker: str = "",
    doubt: str = "",
    source: str = "desk",
) -> str:
    """Check and write one note about a row; returns what was noted in words.

    Raises
    ------
    InputRefused
        If the kind, its detail or the row is unknown, or the value is not what the kind wants.
    """
    known = KINDS.get(kind)
    if known is None or kind == "withdrawn":
        wanted = ", ".join(name for name in KINDS if name != "withdrawn")
        raise refuse("note_kind_unknown", f"There is no kind of note {kind!r}.", f"Kinds: {wanted}.")
    said = kind.replace("_", " ")
    if known.details and detail not in known.details:
        raise refuse(
            "note_detail_unknown",
            f"{detail!r} is no detail of {said}." if detail else f"A note of {said} needs its detail.",
            f"Use {', '.join(known.details)}.".replace("_", " "),
        )
    book = get_season(get_station(on.station), season, on.today)
    found = get_row(book, row)
    day = taken_on or on.today
    if day > on.today:
        raise refuse(
            "note_of_later", f"{day} is after today, {on.today}.", "Write the day on which it was seen or done."
        )
    proper = _read_value(kind, known.value, value, day)
    father = get_row(book, male).tag if male else found.tag if detail == "self" else ""
    local = on.now.strftime("%H:%M:%S") if day == on.today else "12:00:00"
    draft = NoteDraft(
        kind,
        found.tag,
        value=proper,
        detail=detail,
        male=father,
        bag=bag.strip(),
        taken_local=f"{day.isoformat()}T{local}",
        doubt="writer_unsure" if doubt else "",
        doubt_reason=doubt[:300],
        worker=worker[:12],
    )
    write_notes(on, [draft], source)
    return f"row {found.number}, {known.says}, {detail.replace('_', ' ')} {proper}".replace(",  ", ", ").strip(", ")


def _read_value(kind: str, wants: str, value: str, day: date) -> str:
    text = value.strip()
    if wants == "date":
        if not text:
            return day.isoformat()
        try:
            return date.fromisoformat(text).isoformat()
        except ValueError:
            raise refuse(
                "not_a_date", f"{kind}: {text!r} is not a date.", "Write 2031-07-21, or leave it out."
            ) from None
    if wants in ("count", "number"):
        try:
            number = float(text or ("1" if wants == "count" else ""))
        except ValueError:
            raise refuse("not_a_number", f"{kind}: {text!r} is not a {wants}.", "Write a number.") from None
        if number != number or abs(number) > 1e6 or (wants == "count" and (number < 0 or number != int(number))):
            raise refuse("not_a_number", f"{kind}: {text!r} is not a {wants}.", "Write a whole number, 0 or more.")
        return f"{number:g}"
    return text
