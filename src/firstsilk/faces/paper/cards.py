"""What does a worker carry who has no phone: tally cards and walk sheets of the day, in the worker's language?

One page is one sheet with a code of its own. Rows stand in walking order with number and check sign; below them are
empty lines. Numbers and pictures come first; words are the phone's.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from zoneinfo import ZoneInfo

from firstsilk.faces.paper.drawings import draw_picture
from firstsilk.faces.paper.lettering import check_lettering, cut_text, fit_text
from firstsilk.faces.paper.press import check_print, choose_sample, draw_code, print_sheet
from firstsilk.faces.paper.tags import MARKS
from firstsilk.faces.paper.words import choose_words, list_cautions, say_day
from firstsilk.faces.paper.year import mark_of, round_up_minute
from firstsilk.science.flowering.paper_boxes import BOXES, Box
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.flowering.rows import RowFacts
from firstsilk.work.flowering.sheets_out import PaperSheet, SheetRow

WIDE_MM, TURNED_MM, WALK_MM = 14.0, 10.4, 13.6
WHAT_MM = {"tally": 39.0, "walk": 43.0}
HEAD_MM = {"tally": 25.0, "walk": 17.0}
LINE_MM = {"tally": 8.1, "walk": 10.0}
ASKED_BY = {
    "shoot_bagged": "shoot_bag",
    "tassel_bagged": "tassel_bag",
    "tassel_unbagged": "take_down",
    "pollinated": "pollinate",
    "ears_picked": "pick",
}
"""The task of the day that fills each box."""
MOST_MALES = 2
"""Males that a line names; with more the leader is asked: a number that is cut would be another row's."""
MOST_SPANS = 10
"""Spans of sprayed rows that a sheet names; they are on no line of it, and posted signs come first."""
MOST_TIMES = 3
"""Times at which rows are free again that a sheet tells; rows of more times stand together without one."""
Say = Callable[..., str]


def render_sheets(sheets: Sequence[PaperSheet], station: str, time_zone: str, language: str = "en") -> bytes:
    """Print tally cards or walk sheets, one A4 page each, as one PDF.

    Parameters
    ----------
    sheets
        Of one kind.
    station, time_zone
        The station's name, and the zone of its clock.
    language
        ``en``, ``fr`` or ``es``.

    Raises
    ------
    InputRefused
        If the sheets are not in that language, or a sign cannot be printed.
    StationFault
        If the codes of the first, the middle or the last page do not read back.

    Checked by
    ----------
    tests/faces/test_field_papers.py
    """
    choose_words(language)
    check_lettering(
        [("station", station)]
        + [(f"row {line.row.number:04d}, line", line.row.line) for sheet in sheets for line in sheet.lines]
        + [("head", text) for sheet in sheets for text in (sheet.worker, sheet.team, sheet.season)]
    )
    pdf = print_sheet("field_sheet", write_sheets(sheets, station, time_zone, language))
    codes = [sheet.code for sheet in sheets]
    check_print(pdf, {page: [codes[page - 1]] for page in choose_sample(len(codes))})
    return pdf


def write_sheets(sheets: Sequence[PaperSheet], station: str, time_zone: str, language: str) -> dict[str, object]:
    """What the sheet ``field_sheet`` is set from."""
    say = choose_words(language)
    kind = sheets[0].kind
    keys = ("row", "check", "todo", "male", "lost", "hand", "small", "wrong", "entered", "again", "no_entry", "code")
    return {
        "title": f"{say(f'paper.{kind}')} {say_day(language, sheets[0].day)}",
        "kind": kind,
        "name": say(f"paper.{kind}"),
        "station": cut_text(station, 90, 9),
        "language": language,
        "words": {key: say(f"paper.{key}") for key in (*keys, "worker", "team", "done")},
        "count": say("paper.count"),
        "look": say("paper.look") if kind == "walk" else "",
        "heads": [_set_head(box, kind, say) for box in BOXES[kind]],
        "what_mm": WHAT_MM[kind],
        "head_mm": HEAD_MM[kind],
        "line_mm": LINE_MM[kind],
        "cautions_head": say("safety.title"),
        "cautions": list(list_cautions(language)),
        "pages": [_set_page(sheet, time_zone, language, say) for sheet in sheets],
    }


def _set_head(box: Box, kind: str, say: Say) -> dict[str, object]:
    lost = box.kind == "spoiled"
    return {
        "picture": draw_picture(box.key),
        "word": say(f"cause.{box.key}" if lost else f"deed.{box.key}"),
        "lost": lost,
        "width": TURNED_MM if lost else WALK_MM if kind == "walk" else WIDE_MM,
    }


def _set_page(sheet: PaperSheet, time_zone: str, language: str, say: Say) -> dict[str, object]:
    return {
        "code": draw_code(sheet.code),
        "tag": print_tag(sheet.code),
        "day": say_day(language, sheet.day),
        "worker": sheet.worker,
        "team": sheet.team,
        "card": say("paper.card", k=sheet.page, n=sheet.n_pages),
        "blank": sheet.blank,
        "shut": _say_shut(sheet.shut, time_zone, language, say),
        "lines": [_set_line(line, sheet.kind, say) for line in sheet.lines],
    }


def _say_shut(rows: Sequence[RowFacts], time_zone: str, language: str, say: Say) -> list[str]:
    """Rows that nobody may enter, those of one time together, as spans of numbers."""
    until: dict[str, list[int]] = {}
    for row in rows:
        said = ""
        if row.no_entry_until is not None:
            end = round_up_minute(row.no_entry_until.astimezone(ZoneInfo(time_zone)))
            said = say("paper.until", until=f"{say_day(language, end.date())}, {end:%H:%M}")
        until.setdefault(said, []).append(row.number)
    groups = list(until.items())
    if len(groups) > MOST_TIMES:
        others = [number for _, numbers in groups[MOST_TIMES - 1 :] for number in numbers]
        groups = [*groups[: MOST_TIMES - 1], ("", others)]
    return [f"{_write_spans(sorted(numbers))} {said}".strip() for said, numbers in groups]


def _write_spans(numbers: Sequence[int]) -> str:
    spans: list[list[int]] = []
    for number in numbers:
        if spans and number == spans[-1][-1] + 1:
            spans[-1].append(number)
        else:
            spans.append([number])
    told = [f"{span[0]:04d}" if len(span) == 1 else f"{span[0]:04d}–{span[-1]:04d}" for span in spans]
    more = [f"+ {sum(map(len, spans[MOST_SPANS:]))}"] if len(spans) > MOST_SPANS else []
    return ", ".join(told[:MOST_SPANS] + more)


def _set_line(line: SheetRow, kind: str, say: Say) -> dict[str, object]:
    row = line.row
    width_mm = WHAT_MM[kind] - 9.0
    do, do_size = fit_text(_say_task(line, say), width_mm, (9.0, 8.0, 7.0), bold=True)
    males = "" if len(line.males) > 1 else "".join(f"{number:04d}" for number in line.males)
    return {
        "number": f"{row.number:04d}",
        "check": print_tag(row.tag)[-1],
        "mark": MARKS.get(mark_of(row), ""),
        "do": do,
        "do_size": do_size,
        "line": cut_text(row.line, width_mm, 7.5),
        "male": males,
        "asks_male": len(line.males) > 1 and line.count("pollinate") > 0,
        "strong": row.number % 5 == 0,
        "due": [_write_due(box, line) for box in BOXES[kind]],
    }


def _say_task(line: SheetRow, say: Say) -> str:
    """The pollen to be used where there is pollinating, else the names of the tasks."""
    ears = line.count("pollinate")
    if ears and len(line.males) > MOST_MALES:
        return say("paper.ask")
    if ears and line.males:
        return say("paper.cross", male=" / ".join(f"{number:04d}" for number in line.males))
    if ears and mark_of(line.row) == "self":
        return say("paper.self")
    return ", ".join(say(f"task.{task.do}") for task in line.tasks)


def _write_due(box: Box, line: SheetRow) -> str:
    """The small number in a box: how many today's list asks for, a question mark where one looks; empty if nothing."""
    if box.seen:
        looks = any(task.do == "look" for task in line.tasks)
        known = line.row.state.silk_on if box.key == "silk" else line.row.state.shed_on
        bears = ("self", "female") if box.key == "silk" else ("self", "male")
        return "?" if looks and known is None and line.row.purpose in bears else ""
    count = line.count(ASKED_BY[box.key]) if box.key in ASKED_BY else 0
    return str(count) if count else ""
