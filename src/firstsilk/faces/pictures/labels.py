"""Where does a name stand beside its point, so that no name lies on another?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

LETTER_PX, LINE_PX = 8.2, 15.0
"""Room that a letter and a line of a name take at 12 px (wide fonts in bold need so much)."""
GAP_PX = 7.0


@dataclass(frozen=True, slots=True)
class Anchor:
    """A point that wants a name: its place [px, y downwards], and which way is outwards."""

    name: str
    x: float
    y: float
    out_x: float = 1.0
    out_y: float = 0.0


Box = tuple[float, float, float, float]


def place_labels(
    anchors: Sequence[Anchor], width: float, height: float, taken: Sequence[tuple[float, float]] = ()
) -> dict[str, tuple[float, float]]:
    """The left middle of each name [px], in the order of importance; a name without room is left out.

    Parameters
    ----------
    anchors
        Points in the order in which their names matter.
    width, height
        Of the picture [px]; names stay inside it.
    taken
        Points that no name may cover [px].
    """
    boxes: list[Box] = [(x - 4, y - 4, x + 4, y + 4) for x, y in taken]
    placed: dict[str, tuple[float, float]] = {}
    for one in anchors:
        wide = len(one.name) * LETTER_PX
        for x, y in _choose_places(one, wide):
            box = (x, y - LINE_PX / 2, x + wide, y + LINE_PX / 2)
            inside = box[0] >= 0 and box[1] >= 0 and box[2] <= width and box[3] <= height
            if inside and not any(_meet(box, other) for other in boxes):
                boxes.append(box)
                placed[one.name] = (x, y)
                break
    return placed


def spread_names(heights: Sequence[float], height: float) -> list[float]:
    """The middles of names beside each other in one column [px], moved apart so that each has a line of its own."""
    order = sorted(range(len(heights)), key=lambda at: heights[at])
    places = [heights[at] for at in order]
    for _ in range(len(places)):
        for k in range(len(places) - 1):
            short = LINE_PX - (places[k + 1] - places[k])
            if short > 1e-9:
                places[k], places[k + 1] = places[k] - short / 2, places[k + 1] + short / 2
    low = min(places, default=0.0) - LINE_PX / 2
    high = max(places, default=0.0) + LINE_PX / 2 - height
    shift = -low if low < 0 else -high if high > 0 else 0.0
    told = dict(zip(order, places, strict=True))
    return [told[at] + shift for at in range(len(heights))]


def _choose_places(one: Anchor, wide: float) -> list[tuple[float, float]]:
    """Places around a point: outwards first, then beside, above and below it."""
    right, left = one.x + GAP_PX, one.x - GAP_PX - wide
    up, down = one.y - LINE_PX * 0.8, one.y + LINE_PX * 0.8
    near, far = (right, left) if one.out_x >= 0 else (left, right)
    first, last = (up, down) if one.out_y <= 0 else (down, up)
    middle = one.x - wide / 2
    return [
        (near, one.y),
        (near, first),
        (middle, first - 3),
        (near, last),
        (middle, last + 3),
        (far, one.y),
        (far, first),
        (far, last),
    ]


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
