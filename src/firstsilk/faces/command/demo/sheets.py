"""What do those of the invented crew write who have no phone, and how does it come into the books?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

from firstsilk.answers import InputRefused
from firstsilk.faces.command.demo.run import Run
from firstsilk.invented.drafts import NoteDraft
from firstsilk.invented.people import CREW, PAPER_TEAM
from firstsilk.science.flowering.paper_boxes import BOXES, Line
from firstsilk.work.flowering.day import DayList
from firstsilk.work.flowering.keying import save_lines
from firstsilk.work.flowering.settle_sheets import drop_sheet, read_settling, settle_sheet
from firstsilk.work.flowering.sheets_out import PaperSheet, print_sheets
from firstsilk.work.occasion import Occasion

PAPER_DAYS = ((7, 20), (7, 21), (7, 22), (7, 25), (7, 28))
UNUSED_ON = (7, 19)
"""The rainy day on which sheets were printed and nobody used them."""
KEYED_TWICE, LEFT_OVER = (7, 20), (7, 21)
"""The day whose sheets were keyed twice, and that whose sheets were settled the morning after."""
WRITERS = tuple(one.code for one in CREW if one.phone is None)
KINDS = tuple({box.kind for box in BOXES["tally"]})


def write_on_paper(run: Run, on: Occasion, day: DayList, drafts: Sequence[NoteDraft]) -> tuple[NoteDraft, ...]:
    """What the team without phones does of the day, on tally cards keyed in the evening; who wrote it stands on it.

    Returns
    -------
    tuple of NoteDraft
        The drafts that are on paper and that no phone sends.
    """
    when = (day.today.month, day.today.day)
    if when not in (*PAPER_DAYS, UNUSED_ON):
        return ()
    try:
        sheets = print_sheets(run.at(day.today, 6), day, "tally", team=PAPER_TEAM)
    except InputRefused:
        # Nothing to count for them today.
        return ()
    written: list[NoteDraft] = []
    for at, sheet in enumerate(sheets):
        worker = WRITERS[(at + day.today.day) % len(WRITERS)]
        mine = [] if when == UNUSED_ON else _choose(sheet, drafts)
        lines = _fill(sheet, mine)
        if not lines:
            drop_sheet(on, sheet.code)
            continue
        written += [replace(one, worker=worker) for one in mine]
        save_lines(on, sheet.code, 1, lines, worker)
        if when == KEYED_TWICE:
            _key_again(run, on, sheet.code, lines, worker)
        elif when != LEFT_OVER:
            settle_sheet(on, sheet.code)
    run.sheets = [sheet.code for sheet in sheets] if when == LEFT_OVER else run.sheets
    return tuple(written)


def key_left_sheet(run: Run, day: date) -> None:
    """Settle, before work, the sheets that were left over the evening before."""
    if (day - timedelta(days=1)) == run.day(*LEFT_OVER):
        for code in run.sheets:
            settle_sheet(run.at(day, 6), code)


def _choose(sheet: PaperSheet, drafts: Iterable[NoteDraft]) -> list[NoteDraft]:
    """Notes of the sheet's rows that fit into its boxes: bags with a number, doubts and slips are told by phone."""
    drafts = list(drafts)
    tags = {line.row.tag for line in sheet.lines}
    corrected = {one.replaces_key for one in drafts}
    return [
        one
        for one in drafts
        if one.tag in tags
        and one.kind in KINDS
        and not (one.bag or one.doubt or one.replaces_key or one.key in corrected or one.sends > 1)
    ]


def _fill(sheet: PaperSheet, drafts: Iterable[NoteDraft]) -> dict[int, Line]:
    """The lines of a sheet as they are written: a number in each box with something to say."""
    boxes: dict[str, dict[str, int]] = defaultdict(dict)
    males: dict[str, str] = {}
    for one in drafts:
        boxes[one.tag][one.detail if one.kind == "spoiled" else one.kind] = int(one.value)
        if one.male:
            males[one.tag] = one.male
    return {
        at: Line(line.row.tag, males.get(line.row.tag, ""), tuple(sorted(boxes[line.row.tag].items())))
        for at, line in enumerate(sheet.lines)
        if line.row.tag in boxes
    }


def _key_again(run: Run, on: Occasion, code: str, lines: Mapping[int, Line], worker: str) -> None:
    """A second person keys the sheet blind and slips in one box; the paper decides."""
    at = min(lines)
    (key, value), *rest = lines[at].values
    slipped = replace(lines[at], values=((key, value + 1), *rest))
    second = run.at(on.today, 19, "technician")
    save_lines(second, code, 2, {**lines, at: slipped}, worker)
    found = read_settling(second, code).differences
    settle_sheet(second, code, {(one.at, one.key): one.first for one in found})
