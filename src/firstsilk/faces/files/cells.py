"""What does one cell say, and if it cannot be read, what was probably meant?

Each reader returns a value, or None after adding a finding with the likely repair. A cell is never read by guess.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable
from datetime import date, timedelta

from firstsilk.answers import Finding
from firstsilk.faces.files.tables import FIRST_YEAR, LAST_YEAR, TableRow, format_number
from firstsilk.work.bring.layouts import Column
from firstsilk.work.bring.names import find_nearest

Cell = str | float | int | bool | date | None

MISSING_WORDS = frozenset({"na", "n/a", "nan", "null", "none", "nil", "-", "--", ".", "?", "missing", "nd", "#n/a"})
YES_WORDS = frozenset({"yes", "y", "true", "t", "x", "1.0"})
NO_WORDS = frozenset({"no", "n", "false", "f", "0.0"})

_PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_COMMA_NUMBER = re.compile(r"[+-]?\d+,\d+")
_GROUPED_NUMBER = re.compile(r"[+-]?\d{1,3}([,' \u00a0\u202f]\d{3})+")
_UNIT_NUMBER = re.compile(r"([+-]?\d+(?:[.,]\d+)?)\s*([^\d\s,.].*)")
_LETTER_DIGITS = str.maketrans({"o": "0", "O": "0", "l": "1", "I": "1"})
_CODE = re.compile(r"[A-Za-z0-9_-]+")
_SEASON = re.compile(r"\d{4}W?", re.ASCII)

SHEET_DAY_ONE = date(1899, 12, 30)
"""Spreadsheets count days from here (right from 1 March 1900 on; ECMA-376 part 1, 18.17.4; from memory)."""


def read_cell(row: TableRow, column: Column, findings: list[Finding]) -> Cell:
    """Read one cell as its column wants it.

    Parameters
    ----------
    row
        The row of text cells.
    column
        What is wanted.
    findings
        Gets a finding for whatever cannot be read, with the likely repair.

    Returns
    -------
    Cell
        The value; None (for texts: empty) if the cell is empty or unreadable.
    """
    is_text = column.kind in ("text", "code", "choice", "season")
    text = _clean_text(row, column, findings) if is_text else row.text(column.name)
    if not text:
        if column.wanted:
            repair = f"Fill it, for example: {column.example}" if column.example else "Fill it"
            findings.append(row.finding("cell_empty", f"this cell is wanted: {column.says}", column.name, repair))
        return "" if is_text else None
    return _READERS[column.kind](row, column, text, findings)


def _clean_text(row: TableRow, column: Column, findings: list[Finding]) -> str:
    raw = row.cells.get(column.name, "")
    text = unicodedata.normalize("NFC", raw).strip()
    unseen = [sign for sign in text if unicodedata.category(sign) in ("Cc", "Cf", "Co", "Cs")]
    if unseen:
        clean = "".join(sign for sign in text if sign not in unseen).strip()
        code = f"U+{ord(unseen[0]):04X}"
        message = f"there is a sign in it that cannot be seen ({code})"
        findings.append(row.finding("unseen_sign", message, column.name, f"Write {clean!r}"))
        return clean
    if raw != raw.strip() and text:
        message = f"there are spaces at an end ({raw!r}); it is read without them"
        findings.append(row.finding("spaces_at_end", message, column.name, f"Write {text!r}", stops=False))
    return text


def _text(row: TableRow, column: Column, text: str, findings: list[Finding]) -> str:
    if column.longest and len(text) > column.longest:
        message = f"it has {len(text)} signs, at most {column.longest} fit"
        findings.append(row.finding("too_long", message, column.name, f"Shorten it: {text[: column.longest]!r}"))
    return text


def _code(row: TableRow, column: Column, text: str, findings: list[Finding]) -> str:
    if not _CODE.fullmatch(text):
        plain = unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode()
        slug = re.sub(r"[^A-Za-z0-9_-]+", "-", plain).strip("-") or column.example
        message = "a code holds letters, digits, - and _ only"
        findings.append(row.finding("not_a_code", message, column.name, f"Write {slug!r}"))
    return _text(row, column, text, findings)


def _choice(row: TableRow, column: Column, text: str, findings: list[Finding]) -> str:
    if text in column.choices:
        return text
    nearest = find_nearest(text, frozenset(column.choices))
    repair = f"Did you mean {nearest!r}? " if nearest else ""
    repair += f"Use one of: {', '.join(column.choices)}"
    findings.append(row.finding("not_a_choice", "this word is not known here", column.name, repair))
    return ""


def _truth(row: TableRow, column: Column, text: str, findings: list[Finding]) -> bool | None:
    if text in ("1", "0"):
        return text == "1"
    word = text.casefold()
    repair = "Write 1" if word in YES_WORDS else "Write 0" if word in NO_WORDS else "Write 1 for yes or 0 for no"
    findings.append(row.finding("not_yes_or_no", "yes and no are written 1 and 0", column.name, repair))
    return None


def _number(row: TableRow, column: Column, text: str, findings: list[Finding]) -> float | None:
    if _PLAIN_NUMBER.fullmatch(text) and math.isfinite(float(text)):
        return float(text)
    findings.append(row.finding("not_a_number", "this is not a number", column.name, _number_repair(column, text)))
    return None


def _number_repair(column: Column, text: str) -> str:
    if text.casefold() in MISSING_WORDS:
        return "Leave the cell empty where nothing was measured"
    if _GROUPED_NUMBER.fullmatch(text) and (column.kind == "whole" or "," not in text):
        return f"Write {re.sub(r'[^0-9+-]', '', text)}, without signs between the thousands"
    if _COMMA_NUMBER.fullmatch(text):
        return f"Write the decimal with a point: {text.replace(',', '.')}"
    if text.endswith("%") and column.high == 1 and _PLAIN_NUMBER.fullmatch(text[:-1].strip()):
        return f"Write it as a share: {format_number(round(float(text[:-1]) / 100, 10))}"
    with_unit = _UNIT_NUMBER.fullmatch(text)
    if _PLAIN_NUMBER.fullmatch(text.translate(_LETTER_DIGITS)):
        return f"Write {text.translate(_LETTER_DIGITS)}: a letter stands where a digit should"
    if with_unit:
        return f"Write {with_unit[1].replace(',', '.')}; the unit is in the column's name"
    return "Write a plain number such as 12.5, or leave the cell empty"


def _whole(row: TableRow, column: Column, text: str, findings: list[Finding]) -> int | None:
    value = _number(row, column, text, findings)
    if value is None:
        return None
    if value != int(value):
        repair = f"Write {round(value)}"
        findings.append(row.finding("not_whole", "a whole number is wanted here", column.name, repair))
        return None
    return int(value)


def _date(row: TableRow, column: Column, text: str, findings: list[Finding]) -> date | None:
    day = text[:10] if text[10:] in ("", " 00:00:00", "T00:00:00") else text
    try:
        if re.fullmatch(r"\d{4}-\d{2}-\d{2}", day, re.ASCII):
            found = date.fromisoformat(day)
            if FIRST_YEAR <= found.year <= LAST_YEAR:
                return found
            message = f"the year must lie in {FIRST_YEAR} to {LAST_YEAR}"
            findings.append(row.finding("year_far_off", message, column.name, f"Did you mean 20{day[2:]}?"))
            return None
    except ValueError:
        pass
    findings.append(row.finding("not_a_date", "this is not a date", column.name, _date_repair(text)))
    return None


def _date_repair(text: str) -> str:
    usual = "Write dates as year-month-day: 2031-05-18"
    parts = re.findall(r"\d+", text)
    if re.fullmatch(r"\d{5}(\.0+)?", text):
        return f"This is a spreadsheet's count of days: write {SHEET_DAY_ONE + timedelta(days=int(text[:5]))}"
    if re.fullmatch(r"\d{8}", text):
        parts = [text[:4], text[4:6], text[6:]]
    if len(parts) != 3:
        return usual
    numbers = [int(part) for part in parts]
    if len(parts[0]) == 4:
        return _as_repair(numbers[0], numbers[1], numbers[2]) or usual
    if len(parts[2]) != 4:
        return usual
    day_first = _as_repair(numbers[2], numbers[1], numbers[0])
    month_first = _as_repair(numbers[2], numbers[0], numbers[1])
    if "." in text or not month_first or day_first == month_first:
        return day_first or usual
    if not day_first:
        return month_first
    return f"{day_first} if the day comes first, {month_first[6:]} if the month does"


def _as_repair(year: int, month: int, day: int) -> str:
    try:
        return f"Write {date(year, month, day).isoformat()}"
    except ValueError:
        return ""


def _season(row: TableRow, column: Column, text: str, findings: list[Finding]) -> str:
    if _SEASON.fullmatch(text) and FIRST_YEAR <= int(text[:4]) <= LAST_YEAR:
        return text
    digits = "".join(re.findall(r"\d", text))
    winter = "W" if re.search(r"w", text, re.IGNORECASE) else ""
    repair = "Write a year, such as 2031, or 2031W for the winter nursery that follows it"
    if len(digits) in (2, 4):
        repair = f"Write {digits if len(digits) == 4 else '20' + digits}{winter}"
    findings.append(row.finding("not_a_season", "this is not a season", column.name, repair))
    return ""


_READERS: dict[str, Callable[[TableRow, Column, str, list[Finding]], Cell]] = {
    "text": _text,
    "code": _code,
    "choice": _choice,
    "truth": _truth,
    "number": _number,
    "whole": _whole,
    "date": _date,
    "season": _season,
}
