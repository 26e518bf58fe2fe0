"""How does a refusal of science, which knows records only, come to name the file and the line?"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from firstsilk.answers import InputRefused
from firstsilk.faces.files.tables import Table

_RECORDS = re.compile(r"\b(?P<word>[Rr]ecords?) (?P<one>\d+)(?: and (?P<two>\d+))?\b")


@contextmanager
def naming(table: Table, records_are_lines: bool = False) -> Iterator[None]:
    """Put the name of the file before what is refused, and lines of the file in place of numbers of records.

    Parameters
    ----------
    table
        The table whose records are worked with.
    records_are_lines
        Whether record k is the k-th line under the header; else numbers of records stay.

    Raises
    ------
    InputRefused
        The refusal that was raised inside, with its code, naming the file.
    """
    try:
        yield
    except InputRefused as no:
        if no.refusal is None:
            raise
        message = no.refusal.message
        if records_are_lines:
            message = _RECORDS.sub(lambda found: _as_lines(found, table), message)
        raise InputRefused(refusal=replace(no.refusal, message=f"{table.file}: {message}")) from None


def _as_lines(found: re.Match[str], table: Table) -> str:
    numbers = [int(number) for number in (found["one"], found["two"]) if number]
    if not all(1 <= number <= len(table.rows) for number in numbers):
        return found[0]
    word = found["word"].replace("ecord", "ine").replace("r", "l").replace("R", "L")
    return f"{word} {' and '.join(str(table.rows[number - 1].line) for number in numbers)}"
