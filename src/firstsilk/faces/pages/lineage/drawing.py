"""What does a tree of ancestors look like? The line at the left, its parents to the right, female above male.

On a narrow screen the line stands on top and each parent below what it made, further in with each generation: so it
keeps its width however deep it is.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from firstsilk.work.lineage.ancestry import Ancestor

COLUMN, ROW, BOX, HEIGHT = 190, 54, 158, 42
LONGEST_NAME = 20
NARROW, STEP, ROW_NARROW, HEIGHT_NARROW = 340, 18, 48, 42
"""Of the narrow tree: its width, how far in a generation stands, and heights of a row and a box."""


@dataclass(frozen=True, slots=True)
class _Placed:
    one: Ancestor
    sex: str
    depth: int
    y: float
    parents: tuple[_Placed, ...]


def draw_ancestors(tree: Ancestor) -> SafeString:
    """The tree as SVG with a link on every line; the list beside it says the same in words."""
    placed, leaves = _place(tree, "", 0, 0)
    everyone = _collect(placed)
    width = COLUMN * max(one.depth for one in everyone) + BOX + 4
    return format_html(
        '<svg class="pedigree" viewBox="0 0 {} {}" width="{}" height="{}" role="group" aria-label="{}">{}{}</svg>',
        width,
        leaves * ROW,
        width,
        leaves * ROW,
        f"Pedigree of {tree.name}: parents to the right, female above male",
        format_html_join("", "{}", ((_draw_branch(one),) for one in everyone if one.parents)),
        format_html_join("", "{}", ((_draw_placed(one),) for one in everyone)),
    )


def _place(one: Ancestor, sex: str, depth: int, top: int) -> tuple[_Placed, int]:
    """Place a line below `top` rows of leaves; return it and the rows of leaves it takes."""
    parents: list[_Placed] = []
    taken = 0
    for parent, its_sex in _list_parents(one):
        child, rows = _place(parent, its_sex, depth + 1, top + taken)
        parents.append(child)
        taken += rows
    if not parents:
        return _Placed(one, sex, depth, (top + 0.5) * ROW, ()), 1
    return _Placed(one, sex, depth, sum(child.y for child in parents) / len(parents), tuple(parents)), taken


def _collect(placed: _Placed) -> list[_Placed]:
    return [placed, *(below for parent in placed.parents for below in _collect(parent))]


def draw_ancestors_narrow(tree: Ancestor) -> SafeString:
    """The tree as SVG for a screen as narrow as a phone's."""
    lines: list[SafeString] = []
    boxes: list[SafeString] = []
    rows = _stack(tree, "", 0, 0, lines, boxes)
    return format_html(
        '<svg class="pedigree narrow" viewBox="0 0 {} {}" role="group" aria-label="{}">{}{}</svg>',
        NARROW,
        rows * ROW_NARROW,
        f"Pedigree of {tree.name}: parents below, further in, female before male",
        format_html_join("", "{}", ((one,) for one in lines)),
        format_html_join("", "{}", ((one,) for one in boxes)),
    )


def _stack(one: Ancestor, sex: str, depth: int, row: int, lines: list[SafeString], boxes: list[SafeString]) -> int:
    """Draw a line at this row and its parents below it; the next free row."""
    x, middle = depth * STEP, (row + 0.5) * ROW_NARROW
    boxes.append(_draw_box(one, sex, (x, middle, NARROW - x - 2, HEIGHT_NARROW), is_root=depth == 0))
    at = row + 1
    for parent, its_sex in _list_parents(one):
        turn = (at + 0.5) * ROW_NARROW
        path = f"M{x + STEP / 2:g} {middle + HEIGHT_NARROW / 2:g}V{turn:g}H{x + STEP:g}"
        lines.append(format_html('<path d="{}"/>', path))
        at = _stack(parent, its_sex, depth + 1, at, lines, boxes)
    return at


def _list_parents(one: Ancestor) -> list[tuple[Ancestor, str]]:
    """Female before male, with their signs where there are two."""
    both = [(parent, sign) for parent, sign in ((one.female, "♀"), (one.male, "♂")) if parent is not None]
    return both if len(both) > 1 else [(parent, "") for parent, _ in both]


def _draw_branch(placed: _Placed) -> SafeString:
    start = placed.depth * COLUMN + BOX
    bend, end = start + (COLUMN - BOX) / 2, (placed.depth + 1) * COLUMN
    return format_html_join(
        "",
        '<path d="M{} {}H{}V{}H{}"/>',
        ((start, placed.y, bend, parent.y, end) for parent in placed.parents),
    )


def _draw_placed(placed: _Placed) -> SafeString:
    place = (placed.depth * COLUMN, placed.y, BOX, HEIGHT)
    return _draw_box(placed.one, placed.sex, place, is_root=placed.depth == 0)


def _draw_box(one: Ancestor, sex: str, place: tuple[float, float, float, float], *, is_root: bool) -> SafeString:
    """A box at its left edge and middle height, so wide and high: the name, and below it what the line is."""
    x, y, width, height = place
    name = one.name if len(one.name) <= LONGEST_NAME else one.name[: LONGEST_NAME - 1] + "…"
    more = " · more" if one.is_cut else ""
    below = ", ".join(word for word in (one.generation, one.how) if word) + more
    return format_html(
        '<a href="{}"><title>{}</title><rect x="{}" y="{}" width="{}" height="{}" rx="4" class="{}"/>'
        '<text x="{}" y="{}" class="who">{}{}</text><text x="{}" y="{}" class="how">{}</text></a>',
        reverse("lineage-line", args=[one.name]),
        f"{one.name}: {below}",
        x + 1,
        y - height / 2,
        width,
        height,
        "self" if is_root else "ancestor",
        x + 10,
        y - 3,
        f"{sex} " if sex else "",
        name,
        x + 10,
        y + 13,
        below[:26],
    )
