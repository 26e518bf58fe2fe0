"""Does a row of a table say the same as the books, or more, or something else?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from django.db.models import Model

from firstsilk.answers import Finding
from firstsilk.work.bring.tables import Given, as_text

Wish = tuple[str, str, object]
"""A column, the field that keeps it, and the value given."""


def fill_record(record: Model, given: Given, wishes: Sequence[Wish], what: str, findings: list[Finding]) -> list[str]:
    """Fill what the books lack, and find what they hold otherwise.

    Parameters
    ----------
    record
        The record in the books; its empty fields are filled, and nothing else.
    given
        The row of the table, for the findings.
    wishes
        Column, field and value given; an empty value says nothing.
    what
        The record as a person names it, such as ``line 'A12'``.
    findings
        Gets one that stops for each value that differs.

    Returns
    -------
    list of str
        The fields that were filled; the caller saves them.
    """
    filled = []
    for column, name, value in wishes:
        if value is None or value == "":
            continue
        have = getattr(record, name)
        if have is None or have == "":
            setattr(record, name, value)
            filled.append(name)
        elif not is_same(have, value):
            findings.append(differing(given, column, what, have))
    return filled


def differing(given: Given, column: str, what: str, have: object) -> Finding:
    """The finding that the books hold something else."""
    kept = str(have) if isinstance(have, Model | date) else as_text(have)
    message = f"the books hold {kept!r} for {what}"
    return given.tell(column, "differs_from_books", message, f"Write {kept!r}, or correct the books at the desk")


def is_same(have: object, value: object) -> bool:
    """Whether a value given is the value kept; numbers to nine digits."""
    if isinstance(have, float | int) and isinstance(value, float | int):
        return math.isclose(have, value, rel_tol=1e-9, abs_tol=1e-9)
    return have == value
