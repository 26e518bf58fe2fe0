"""What does a tree of ancestors look like? The line at the left, its parents to the right, female above male."""

from __future__ import annotations

from dataclasses import dataclass

from django.urls import reverse
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from firstsilk.work.lineage.ancestry import Ancestor

COLUMN, ROW, BOX, HEIGHT = 190, 54, 158, 42
LONGEST_NAME = 20


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
        format_html_join("", "{}", ((_draw_box(one),) for one in everyone)),
    )


def _place(one: Ancestor, sex: str, depth: int, top: int) -> tuple[_Placed, int]:
    """Place a line below `top` rows of leaves; return it and the rows of leaves it takes."""
    parents: list[_Placed] = []
    taken = 0
    for parent, its_sex in ((one.female, "♀"), (one.male, "♂")):
        if parent is not None:
            sign = its_sex if one.female is not None and one.male is not None else ""
            child, rows = _place(parent, sign, depth + 1, top + taken)
            parents.append(child)
            taken += rows
    if not parents:
        return _Placed(one, sex, depth, (top + 0.5) * ROW, ()), 1
    return _Placed(one, sex, depth, sum(child.y for child in parents) / len(parents), tuple(parents)), taken


def _collect(placed: _Placed) -> list[_Placed]:
    return [placed, *(below for parent in placed.parents for below in _collect(parent))]


def _draw_branch(placed: _Placed) -> SafeString:
    start = placed.depth * COLUMN + BOX
    bend, end = start + (COLUMN - BOX) / 2, (placed.depth + 1) * COLUMN
    return format_html_join(
        "",
        '<path d="M{} {}H{}V{}H{}"/>',
        ((start, placed.y, bend, parent.y, end) for parent in placed.parents),
    )


def _draw_box(placed: _Placed) -> SafeString:
    one = placed.one
    x, y = placed.depth * COLUMN, placed.y - HEIGHT / 2
    name = one.name if len(one.name) <= LONGEST_NAME else one.name[: LONGEST_NAME - 1] + "…"
    more = " · more" if one.is_cut else ""
    below = ", ".join(word for word in (one.generation, one.how) if word) + more
    return format_html(
        '<a href="{}"><title>{}</title><rect x="{}" y="{}" width="{}" height="{}" rx="4" class="{}"/>'
        '<text x="{}" y="{}" class="who">{}{}</text><text x="{}" y="{}" class="how">{}</text></a>',
        reverse("lineage-line", args=[one.name]),
        f"{one.name}: {below}",
        x + 1,
        y,
        BOX,
        HEIGHT,
        "self" if placed.depth == 0 else "ancestor",
        x + 10,
        placed.y - 3,
        f"{placed.sex} " if placed.sex else "",
        name,
        x + 10,
        placed.y + 13,
        below[:26],
    )
