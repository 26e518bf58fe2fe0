"""What goes to the harvest on paper: the pick list with boxes, and tags for drying crates."""

from __future__ import annotations

from collections.abc import Sequence

from firstsilk.answers import refuse
from firstsilk.faces.paper.lettering import check_lettering, cut_words
from firstsilk.faces.paper.press import draw_code, print_code_labels, print_sheet
from firstsilk.faces.paper.tags import ROW_TAG_PAPER, write_day
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.cautions import LIMITS
from firstsilk.work.seed.picking import PickList, PickRow
from firstsilk.work.seed.season_notes import print_code

MOST_BAGS_SHOWN = 12
"""Bags named in one row of the list; of more it says how many (a choice of ours)."""


def render_pick_list(picks: PickList, station: str, team: str = "") -> bytes:
    """Print a pick list, A4 portrait: rows in walking order with boxes for what was found, rule and cautions.

    Raises
    ------
    InputRefused
        If there is nothing to pick, or a sign cannot be printed.
    StationFault
        If the sheet could not be set.

    Checked by
    ----------
    tests/faces/test_harvest_faces.py
    """
    open_rows = [row for row in picks.rows if not row.blocked]
    if not open_rows:
        raise refuse("nothing_to_print", f"Nothing is ripe to pick on {write_day(picks.today)}.", "Choose another day.")
    check_lettering([("station", station), ("season", picks.season), ("team", team)])
    check_lettering((f"row {row.number:04d}, line", row.line) for row in open_rows)
    data = {
        "title": f"Pick list {write_day(picks.today)}" + (f", {team}" if team else ""),
        "station": station,
        "season": picks.season,
        "ears": f"{picks.ears:,}",
        "rule": picks.rule,
        "bring": list(picks.bring),
        "rows": [_set_row(row) for row in open_rows],
        "blocked": ", ".join(f"{row.number:04d}" for row in picks.rows if row.blocked),
        "cautions": [[one.name, one.text] for one in picks.cautions],
        "limits": LIMITS,
    }
    return print_sheet("pick_list", data)


def _set_row(row: PickRow) -> dict[str, object]:
    bags = [print_code(bag) for bag in row.bags[:MOST_BAGS_SHOWN]]
    more = len(row.bags) - len(bags)
    return {
        "number": f"{row.number:04d}",
        "tag": print_tag(row.tag),
        "place": f"{row.field_row} / {row.field_col}",
        "line": cut_words(row.line, 50, 10),
        "ears": str(row.ears),
        "days": str(row.days),
        "team": row.team,
        "bags": " · ".join([*bags, *([f"and {more} more"] if more > 0 else [])]),
    }


def render_crate_tags(codes: Sequence[str], station: str) -> bytes:
    """Print tags for drying crates in the order given, ten to an A4 sheet, as one PDF.

    Raises
    ------
    InputRefused
        If there is no code, or one comes twice.
    StationFault
        If the first, the middle or the last sheet does not read back.

    Checked by
    ----------
    tests/faces/test_harvest_faces.py
    """
    if not codes:
        raise refuse("nothing_to_print", "There is no crate tag to print.", "Say how many.")
    if len(set(codes)) != len(codes):
        raise refuse("tag_twice", "Two crates would carry the same tag.", "Give each its own.")
    check_lettering([("station", station)])
    labels = [{"tag": print_tag(code), "code": draw_code(code)} for code in codes]
    data = {"title": "Crate tags", "station": station, "page": ROW_TAG_PAPER.as_data(), "labels": labels}
    return print_code_labels("crate_tags", data, codes, ROW_TAG_PAPER.per_sheet)
