"""How does a row or a lot carry its name: row tags for the stakes, labels for the seed lots.

A tag says one number and one instruction, large; the QR code holds just the 8 signs, and the same signs stand beside it
as XXXX-XXXX, the last being the check, so that a person can type them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import Finding, Place, refuse, stop_if_any
from firstsilk.faces.paper.lettering import MM_PER_POINT, check_lettering, cut_text, fit_text, wrap_text
from firstsilk.faces.paper.press import check_print, choose_sample, draw_code, print_sheet
from firstsilk.science.seed.tags import print_tag, read_tag

DO_SIZES_PT = (28.0, 25.0, 22.0, 20.0, 18.5, 17.0, 15.0, 13.0)
DO_HEIGHT_MM = 11.4
DO_MIDDLE_MM = 40.1
DO_GAP_MM = 2.2
CAP_HEIGHT_EM = 0.714
MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
MARKS = {"self": "self", "sib": "sib", "female": "cross", "male": "male", "filler": "filler"}


@dataclass(frozen=True, slots=True)
class LabelPaper:
    """How labels lie on a sheet [mm]. `stacked`: after cutting the pile, each pile of labels runs on in order.

    `code_mm` is the side of the QR code with its quiet zone: 29 modules.
    """

    columns: int
    rows: int
    width_mm: float
    height_mm: float
    left_mm: float
    top_mm: float
    code_mm: float
    stacked: bool = False
    paper_width_mm: float = 210.0
    paper_height_mm: float = 297.0

    @property
    def per_sheet(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    def as_data(self) -> dict[str, float]:
        """The measures as the sheets read them."""
        return {
            "columns": self.columns,
            "rows": self.rows,
            "width": self.width_mm,
            "height": self.height_mm,
            "left": self.left_mm,
            "top": self.top_mm,
            "code": self.code_mm,
            "paper_width": self.paper_width_mm,
            "paper_height": self.paper_height_mm,
        }


ROW_TAG_PAPER = LabelPaper(columns=2, rows=5, width_mm=98, height_mm=56.6, left_mm=7, top_mm=7, code_mm=28)
"""Ten tags on A4; the code has modules of 0.97 mm, where 0.5 mm is the least that a phone reads well."""

LOT_LABEL_PAPER = LabelPaper(columns=3, rows=9, width_mm=65, height_mm=31, left_mm=7.5, top_mm=9, code_mm=24)
"""Twenty-seven labels on A4; the code has modules of 0.83 mm."""


@dataclass(frozen=True, slots=True)
class RowTag:
    """What the tag of one nursery row says. `do` is the one instruction, in plain words."""

    tag: str
    number: int
    season: str
    field_row: int
    field_col: int
    line: str
    pedigree_short: str
    do: str
    male_text: str = ""
    lot: str = ""
    sow_on: date | None = None
    kernels: int = 0
    purpose: str = ""


@dataclass(frozen=True, slots=True)
class LotLabel:
    """What the label of one seed lot says. `kernels` None: not counted."""

    tag: str
    name: str
    line: str
    kernels: int | None
    year: int
    shelf: str = ""


def render_row_tags(tags: Sequence[RowTag], layout: LabelPaper = ROW_TAG_PAPER, check: bool = True) -> bytes:
    """Print row tags in the order given, ten to an A4 sheet, as one PDF.

    Parameters
    ----------
    tags
        One for each row.
    layout
        How tags lie on the sheet; the drawing needs at least 96 x 56 mm.
    check
        Read back the codes of the first, the middle and the last sheet before the print is handed out.

    Raises
    ------
    InputRefused
        If there is no tag, a tag is damaged or comes twice, an instruction is too long, or a sign cannot be printed.
    StationFault
        If the print does not read back.

    Checked by
    ----------
    tests/faces/test_paper.py
    """
    _check_labels([(f"row {tag.number:04d}", tag.tag) for tag in tags], "row tag")
    check_lettering(
        (f"row {tag.number:04d}, {name}", getattr(tag, name))
        for tag in tags
        for name in ("season", "line", "pedigree_short", "do", "male_text", "lot", "purpose")
    )
    _check_instructions(tags, layout)
    labels = _arrange([_set_row_tag(tag, layout) for tag in tags], layout)
    return _print_labels("row_tags", f"Row tags {tags[0].season}", labels, layout, check)


def render_lot_labels(labels: Sequence[LotLabel], layout: LabelPaper = LOT_LABEL_PAPER, check: bool = True) -> bytes:
    """Print labels for seed lots in the order given, 27 to an A4 sheet, as one PDF.

    Parameters
    ----------
    labels
        One for each lot.
    layout
        How labels lie on the sheet; the drawing needs at least 60 x 30 mm.
    check
        Read back the codes of the first, the middle and the last sheet before the print is handed out.

    Raises
    ------
    InputRefused
        If there is no label, a tag is damaged or comes twice, or a sign cannot be printed.
    StationFault
        If the print does not read back.

    Checked by
    ----------
    tests/faces/test_paper.py
    """
    _check_labels([(f"lot {label.name}", label.tag) for label in labels], "lot label")
    check_lettering(
        (f"lot {label.name}, {name}", getattr(label, name)) for label in labels for name in ("name", "line", "shelf")
    )
    set_labels = _arrange([_set_lot_label(label, layout) for label in labels], layout)
    return _print_labels("lot_labels", "Lot labels", set_labels, layout, check)


def fit_instruction(do: str, width_mm: float) -> tuple[list[str], float] | None:
    """Lines and type size [pt] of an instruction in its box, as large as it fits; None if it does not fit."""
    for size_pt in DO_SIZES_PT:
        lines = wrap_text(do, width_mm, size_pt, bold=True)
        if lines is None:
            continue
        height_mm = len(lines) * size_pt * CAP_HEIGHT_EM * MM_PER_POINT + (len(lines) - 1) * DO_GAP_MM
        if height_mm <= DO_HEIGHT_MM:
            return lines, size_pt
    return None


def _place_lines(n_lines: int, size_pt: float) -> list[float]:
    """Upper edges of the capitals of centred lines, from the upper edge of the tag [mm]."""
    line_mm = size_pt * CAP_HEIGHT_EM * MM_PER_POINT
    height_mm = n_lines * line_mm + (n_lines - 1) * DO_GAP_MM
    top_mm = DO_MIDDLE_MM - height_mm / 2
    return [round(top_mm + at * (line_mm + DO_GAP_MM), 3) for at in range(n_lines)]


def write_day(day: date, short: bool = False) -> str:
    """A day as people write it: 4 May 2031, or short 4 May; the month in letters, so that nobody swaps the two."""
    month = MONTHS[day.month - 1]
    return f"{day.day} {month[:3]}" if short else f"{day.day} {month} {day.year}"


def _instruction_width_mm(layout: LabelPaper) -> float:
    return layout.width_mm - 8 - 2 * 2.2 - 9.5 - 3 - 0.5


def _check_labels(named: Iterable[tuple[str, str]], what: str) -> None:
    """Refuse none, damaged tags, and one tag for two things."""
    findings: list[Finding] = []
    holders: dict[str, str] = {}
    for name, tag in named:
        signs = read_tag(tag)
        if signs in holders:
            message = f"{name} and {holders[signs]} would carry the same tag"
            findings.append(Finding("tag_twice", message, Place(), print_tag(tag), "Give each its own tag"))
        holders[signs] = name
    if not holders:
        raise refuse("nothing_to_print", f"There is no {what} to print", "Choose at least one.")
    stop_if_any(findings)


def _check_instructions(tags: Sequence[RowTag], layout: LabelPaper) -> None:
    """An instruction is never cut: half of one may say the opposite."""
    width_mm = _instruction_width_mm(layout)
    fits = {do: fit_instruction(do, width_mm) is not None for do in {tag.do for tag in tags}}
    stop_if_any(
        Finding(
            "instruction_too_long",
            f"row {tag.number:04d}: the instruction does not fit on the tag",
            Place(),
            tag.do,
            "Say it in fewer words",
        )
        for tag in tags
        if not fits[tag.do]
    )


def _set_row_tag(tag: RowTag, layout: LabelPaper) -> dict[str, object]:
    name_mm = layout.width_mm - layout.code_mm - 2 - 10 - 1
    line, line_size = fit_text(tag.line, name_mm, (17.0, 15.0, 13.0, 11.0), bold=True)
    do, do_size = fit_instruction(tag.do, _instruction_width_mm(layout)) or ([tag.do], DO_SIZES_PT[-1])
    sown = f"sow {write_day(tag.sow_on)}" if tag.sow_on else ""
    kernels = f"{tag.kernels} kernels" if tag.kernels else ""
    place = f"range {tag.field_row}, place {tag.field_col}"
    first = _join([f"Male: {tag.male_text}" if tag.male_text else "", f"Lot {tag.lot}" if tag.lot else ""])
    second = _join([sown, kernels, place, tag.purpose, tag.season])
    return {
        "tag": print_tag(tag.tag),
        "code": draw_code(read_tag(tag.tag)),
        "number": f"{tag.number:04d}",
        "line": line,
        "line_size": line_size,
        "pedigree": cut_text(tag.pedigree_short, name_mm, 9),
        "do": do,
        "do_y": _place_lines(len(do), do_size),
        "do_size": do_size,
        "mark": MARKS.get(tag.purpose, ""),
        "small": [cut_text(first, layout.width_mm - 8, 9), cut_text(second, layout.width_mm - 8, 8)],
    }


def _set_lot_label(label: LotLabel, layout: LabelPaper) -> dict[str, object]:
    width_mm = layout.width_mm - layout.code_mm - 1 - 3.5 - 0.5
    name, name_size = fit_text(label.name, width_mm, (14.0, 12.0, 10.0, 9.0), bold=True)
    line, line_size = fit_text(label.line, width_mm, (11.0, 10.0, 9.0))
    shelf, shelf_size = fit_text(label.shelf or "–", width_mm, (13.0, 11.0, 9.0), bold=True)
    counted = f"{label.kernels:,} kernels" if label.kernels is not None else "not counted"
    return {
        "tag": print_tag(label.tag),
        "code": draw_code(read_tag(label.tag)),
        "name": name,
        "name_size": name_size,
        "line": line,
        "line_size": line_size,
        "what": cut_text(f"{label.year} · {counted}", width_mm, 9),
        "shelf": shelf,
        "shelf_size": shelf_size,
    }


def _join(parts: Iterable[str]) -> str:
    return " · ".join(part for part in parts if part)


def _arrange(labels: list[dict[str, object]], layout: LabelPaper) -> list[dict[str, object] | None]:
    """Labels in the order of the sheets; stacked, label k of pile p lies on sheet k."""
    if not layout.stacked:
        return list(labels)
    n_sheets = math.ceil(len(labels) / layout.per_sheet)
    order = [pile * n_sheets + sheet for sheet in range(n_sheets) for pile in range(layout.per_sheet)]
    return [labels[at] if at < len(labels) else None for at in order]


def _print_labels(
    sheet: str, title: str, labels: list[dict[str, object] | None], layout: LabelPaper, check: bool
) -> bytes:
    pdf = print_sheet(sheet, {"title": title, "page": layout.as_data(), "labels": labels}, tagged=False)
    if check:
        each = layout.per_sheet
        pages = [labels[start : start + each] for start in range(0, len(labels), each)]
        check_print(
            pdf,
            {
                number: [str(label["tag"]).replace("-", "") for label in pages[number - 1] if label is not None]
                for number in choose_sample(len(pages))
            },
        )
    return pdf
