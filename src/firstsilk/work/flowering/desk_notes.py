"""How does a person at the desk write one note about a row, with the row named as people name it?"""

from __future__ import annotations

import re
from datetime import date

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.flowering.notes import KINDS, Kind
from firstsilk.science.seed.tags import read_tag
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_row, get_season, get_station

LONGEST_WORKER, LONGEST_BAG = 12, 16
"""Signs that the note format holds."""
LOWEST_SCORE, HIGHEST_SCORE = 1, 9
"""The scale of scores by eye, as the phone asks for them."""
MOST_DAYS_APART = 370
"""A day noted further from the day of the note than this is a slip of the pen (a choice of ours)."""
_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


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
    draft, told = make_row_draft(on, season, kind, row, value, detail, male, bag, taken_on, worker, doubt)
    write_notes(on, [draft], source)
    return told


def make_row_draft(
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
) -> tuple[NoteDraft, str]:
    """Check one note about a row, as `write_row_note` does; returns it ready to be written, and in words."""
    known = _check_kind(kind, detail)
    day = taken_on or on.today
    _check_words(on, day, worker, bag.strip())
    book = get_season(get_station(on.station), season, on.today)
    found = get_row(book, row)
    proper = _read_value(kind, known.value, value, day)
    if known.value == "date" and proper > on.today.isoformat():
        told = f"{proper} is after today, {on.today}."
        raise refuse("note_of_later", told, "Write the day on which it was seen or done.")
    father = get_row(book, male).tag if male else found.tag if detail == "self" else ""
    local = on.now.strftime("%H:%M:%S") if day == on.today else "12:00:00"
    draft = NoteDraft(
        kind,
        found.tag,
        value=proper,
        detail=detail,
        male=father,
        bag=_read_bag(bag),
        taken_local=f"{day.isoformat()}T{local}",
        doubt="writer_unsure" if doubt else "",
        doubt_reason=doubt[:300],
        worker=worker,
    )
    told = f"row {found.number}, {known.says}, {detail.replace('_', ' ')} {proper}"
    return draft, told.replace(",  ", ", ").strip(", ")


def _read_bag(typed: str) -> str:
    """A printed code as its eight signs, as a phone writes it; a number written by hand as it was typed."""
    try:
        return read_tag(typed)
    except InputRefused:
        return typed.strip()


def _check_kind(kind: str, detail: str) -> Kind:
    """The kind of note meant, if it is one that a person writes and its detail belongs to it."""
    known = KINDS.get(kind)
    if known is None or kind == "withdrawn":
        wanted = ", ".join(name for name in KINDS if name != "withdrawn")
        raise refuse("note_kind_unknown", f"There is no kind of note {kind!r}.", f"Kinds: {wanted}.")
    said = kind.replace("_", " ")
    if known.details and detail not in known.details and (detail or known.needs_detail):
        raise refuse(
            "note_detail_unknown",
            f"{detail!r} is no detail of {said}." if detail else f"A note of {said} needs its detail.",
            f"Use {', '.join(known.details)}.".replace("_", " "),
        )
    if detail and not known.details:
        raise refuse("note_detail_unknown", f"A note of {said} has no detail.", "Leave it out, or write a remark.")
    return known


def _check_words(on: Occasion, day: date, worker: str, bag: str) -> None:
    """Refuse a day to come, and words that a note cannot hold."""
    if day > on.today:
        told = f"{day} is after today, {on.today}."
        raise refuse("note_of_later", told, "Write the day on which it was seen or done.")
    for name, text, longest in (("worker code", worker, LONGEST_WORKER), ("bag number", bag, LONGEST_BAG)):
        if len(text) > longest:
            told = f"The {name} has {len(text)} signs, at most {longest} fit."
            raise refuse("note_text_long", told, "Shorten it.")


def _read_value(kind: str, wants: str, value: str, day: date) -> str:
    text = value.strip()
    if wants == "date":
        if not text:
            return day.isoformat()
        try:
            if not _ISO_DATE.fullmatch(text):
                raise ValueError
            said = date.fromisoformat(text)
        except ValueError:
            raise refuse(
                "not_a_date", f"{kind}: {text!r} is not a date.", "Write 2031-07-21, or leave it out."
            ) from None
        if abs((said - day).days) > MOST_DAYS_APART:
            raise refuse("date_far_off", f"{kind}: {text} is far from {day}.", "Check the year.")
        return said.isoformat()
    if wants in ("count", "number"):
        try:
            number = float(text or ("1" if wants == "count" else ""))
        except ValueError:
            raise refuse("not_a_number", f"{kind}: {text!r} is not a {wants}.", "Write a number.") from None
        if number != number or abs(number) > 1e6 or (wants == "count" and (number < 0 or number != int(number))):
            raise refuse("not_a_number", f"{kind}: {text!r} is not a {wants}.", "Write a whole number, 0 or more.")
        if kind == "rated" and not LOWEST_SCORE <= number <= HIGHEST_SCORE:
            told = f"A score of {number:g} is not on the scale."
            raise refuse("score_off_scale", told, f"Write {LOWEST_SCORE} to {HIGHEST_SCORE}.")
        return f"{number:.10g}"
    if kind == "remarked" and not text:
        raise refuse("remark_empty", "A remark needs its words.", "Write them.")
    return text
