"""How does a walker find each row in order and write what is seen, where no phone will do?

The walk book: rows in serpentine order, boxes to fill, the tag beside each row so that the page can be keyed back in
the evening, and the neighbours of each page for orientation.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol, TypeVar

from firstsilk.answers import Finding, Place, refuse, stop_if_any
from firstsilk.faces.paper.lettering import ELLIPSIS, check_lettering, cut_text, fit_text
from firstsilk.faces.paper.press import print_sheet
from firstsilk.faces.paper.tags import MARKS, write_day
from firstsilk.science.seed.tags import print_tag, read_tag
from firstsilk.work.cautions import CAUTIONS, LIMITS

ROW_HEIGHT_MM = 10.5
TURN_HEIGHT_MM = 5.0
BODY_HEIGHT_MM = 15 * ROW_HEIGHT_MM + TURN_HEIGHT_MM + 0.1
WHAT_WIDTH_MM = 58.0
HASH_SIGNS = 16


class Placed(Protocol):
    """Anything that lies on the grid of the nursery."""

    @property
    def field_row(self) -> int:
        """The range, counted from the start of the walk."""
        ...

    @property
    def field_col(self) -> int:
        """The place along the range."""
        ...


_P = TypeVar("_P", bound=Placed)


@dataclass(frozen=True, slots=True)
class WalkRow:
    """One row of the walk book. `warning` (a spray interval, say) is printed before the instruction."""

    tag: str
    number: int
    field_row: int
    field_col: int
    line: str
    do: str
    purpose: str = ""
    silk_about: date | None = None
    warning: str = ""


@dataclass(frozen=True, slots=True)
class WalkBook:
    """A whole walk book. `chain_hash` and `chain_position` are of the newest note when it was printed."""

    station: str
    site: str
    season: str
    printed_on: date
    rows: tuple[WalkRow, ...]
    chain_hash: str = ""
    chain_position: int = 0


def order_for_walking(things: Iterable[_P]) -> list[_P]:
    """Things in serpentine order: odd field rows by rising column, even ones by falling column.

    Checked by
    ----------
    tests/faces/test_paper.py
    """
    return sorted(things, key=lambda it: (it.field_row, it.field_col if it.field_row % 2 else -it.field_col))


def render_walk_book(book: WalkBook) -> bytes:
    """Print a walk book: a cover with legend and cautions, then the rows in walking order, A4 landscape.

    Parameters
    ----------
    book
        Its rows in any order; they are printed in serpentine order.

    Raises
    ------
    InputRefused
        If there is no row, a tag is damaged, a place or a tag comes twice, or a sign cannot be printed.
    StationFault
        If the sheet could not be set.

    Checked by
    ----------
    tests/faces/test_paper.py
    """
    if not book.rows:
        raise refuse("nothing_to_print", "There is no row for the walk book", "Plan the nursery first.")
    _check_rows(book.rows)
    check_lettering([("cover", book.station), ("cover", book.site), ("cover", book.season)])
    check_lettering(
        (f"row {row.number:04d}, {name}", getattr(row, name)) for row in book.rows for name in ("line", "do", "warning")
    )
    rows = order_for_walking(book.rows)
    pages = _cut_pages(rows)
    data = {
        "title": f"Walk book {book.season}",
        "station": cut_text(book.station, 150, 20, bold=True),
        "site": cut_text(book.site, 150, 12),
        "season": book.season,
        "printed": write_day(book.printed_on),
        "n_rows": len(rows),
        "first": _name(rows[0]),
        "last": _name(rows[-1]),
        "newest": write_newest_note(book.chain_hash, book.chain_position),
        "cautions": [[caution.name, caution.text] for caution in CAUTIONS],
        "limits": LIMITS,
        "row_height": ROW_HEIGHT_MM,
        "turn_height": TURN_HEIGHT_MM,
        "pages": _set_pages(pages),
    }
    return print_sheet("walk_book", data)


def write_newest_note(chain_hash: str, position: int) -> str:
    """The newest note of the station's chain, short enough to be read aloud; empty if there is none."""
    if not chain_hash:
        return ""
    short = chain_hash[:HASH_SIGNS]
    return f"note {position:,}, chain " + " ".join(short[at : at + 4] for at in range(0, len(short), 4))


def _check_rows(rows: Sequence[WalkRow]) -> None:
    findings: list[Finding] = []
    tags: dict[str, WalkRow] = {}
    places: dict[tuple[int, int], WalkRow] = {}
    for row in rows:
        same_tag = tags.setdefault(read_tag(row.tag), row)
        same_place = places.setdefault((row.field_row, row.field_col), row)
        if same_tag is not row:
            message = f"rows {same_tag.number:04d} and {row.number:04d} carry the same tag"
            findings.append(Finding("tag_twice", message, Place(), row.tag, "Give each its own tag"))
        if same_place is not row:
            message = f"rows {same_place.number:04d} and {row.number:04d} lie at the same place"
            place = f"range {row.field_row}, place {row.field_col}"
            findings.append(Finding("place_twice", message, Place(), place, "Move one of them"))
    stop_if_any(findings)


def _cut_pages(rows: Sequence[WalkRow]) -> list[list[WalkRow]]:
    """Rows page by page; a turn into the next field row takes room, except at the head of a page."""
    pages: list[list[WalkRow]] = []
    left_mm = 0.0
    for row in rows:
        turns = bool(pages) and pages[-1][-1].field_row != row.field_row
        needed_mm = ROW_HEIGHT_MM + (TURN_HEIGHT_MM if turns else 0.0)
        if not pages or needed_mm > left_mm:
            pages.append([])
            left_mm, needed_mm = BODY_HEIGHT_MM, ROW_HEIGHT_MM
        pages[-1].append(row)
        left_mm -= needed_mm
    return pages


def _set_pages(pages: Sequence[Sequence[WalkRow]]) -> list[dict[str, object]]:
    printed: list[dict[str, object]] = []
    for at, page in enumerate(pages):
        before = f"{_name(pages[at - 1][-1])} (page {at + 1})" if at else "nothing: the walk starts here"
        after = f"{_name(pages[at + 1][0])} (page {at + 3})" if at + 1 < len(pages) else "nothing: the walk ends here"
        lowest, highest = min(row.number for row in page), max(row.number for row in page)
        printed.append(
            {
                "rows": f"{lowest:04d} – {highest:04d}" if lowest < highest else f"{lowest:04d}",
                "direction": _write_direction(page, page[0].field_row),
                "way": _choose_way(page[0].field_row),
                "before": before,
                "after": after,
                "items": _set_items(page),
            }
        )
    return printed


def _set_items(page: Sequence[WalkRow]) -> list[dict[str, object]]:
    items: list[dict[str, object]] = []
    previous = page[0]
    for row in page:
        if row.field_row != previous.field_row:
            items.append({"turn": _write_direction(page, row.field_row), "way": _choose_way(row.field_row)})
        items.append(_set_row(row, strong=row.number % 5 == 0))
        previous = row
    return items


def _set_row(row: WalkRow, strong: bool) -> dict[str, object]:
    first, second = (f"NO ENTRY: {row.warning}", f"{row.line} · then {row.do}") if row.warning else (row.do, row.line)
    line, line_size = fit_text(second, WHAT_WIDTH_MM, (10.5, 9.5, 8.5))
    do, do_size = fit_text(first, WHAT_WIDTH_MM, (11.0, 10.0, 9.0, 8.0), bold=True)
    if do.endswith(ELLIPSIS):
        do = cut_text(first, WHAT_WIDTH_MM - 13, do_size, bold=True) + (" ask" if row.warning else " see tag")
    return {
        "number": f"{row.number:04d}",
        "tag": print_tag(row.tag),
        "mark": "" if row.warning else MARKS.get(row.purpose, ""),
        "line": line,
        "line_size": line_size,
        "do": do,
        "do_size": do_size,
        "silk_about": write_day(row.silk_about, short=True) if row.silk_about else "",
        "strong": strong,
        "blocked": bool(row.warning),
    }


def _write_direction(page: Sequence[WalkRow], field_row: int) -> str:
    columns = [row.field_col for row in page if row.field_row == field_row]
    if len(columns) == 1:
        return f"Range {field_row}: place {columns[0]}"
    way = "columns rising" if field_row % 2 else "columns falling"
    return f"Range {field_row}: place {columns[0]} to {columns[-1]}, {way}"


def _choose_way(field_row: int) -> str:
    """The arrow that says the same as rising or falling columns."""
    return "right" if field_row % 2 else "left"


def _name(row: WalkRow) -> str:
    return f"row {row.number:04d}, {cut_text(row.line, 36, 10)}"
