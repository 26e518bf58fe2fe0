"""Which boxes has a line of a paper sheet, what do they say as notes, what is unusual, and where do two keyings differ?

A box left empty says nothing. A count of 0 says the same as an empty box; in a box of silk or shed 0 says that somebody
looked and half the plants did not show it yet.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from firstsilk.science.flowering.notes import KINDS

USUAL_PLANTS = 30
"""Plants of a row whose stand and sown kernels are not known: a 4 m row holds 16 to 20 (common practice, no source);
more than this is asked once more."""
SHOOTS_A_PLANT = 2
"""Shoot bags that a plant takes at most: the second shoot is a spare (common practice, no source)."""
HIGHEST_COUNT = 9_999


@dataclass(frozen=True, slots=True)
class Box:
    """One box: its key, the kind and detail of the note it makes, and whether it holds a count or what was seen."""

    key: str
    kind: str
    detail: str = ""
    seen: bool = False


_CAUSES = tuple(Box(cause, "spoiled", cause) for cause in KINDS["spoiled"].details)
_COUNTED = (Box("shoot_bagged", "shoot_bagged"), Box("tassel_bagged", "tassel_bagged"))
_LOOKED = (Box("silk", "silk", seen=True), Box("shed", "shed", seen=True))
BOXES: Mapping[str, tuple[Box, ...]] = {
    "tally": (*_COUNTED, Box("pollinated", "pollinated"), *_CAUSES),
    "walk": (
        *_LOOKED,
        *_COUNTED,
        Box("tassel_unbagged", "tassel_unbagged"),
        Box("pollinated", "pollinated"),
        Box("ears_picked", "ears_picked"),
    ),
}
"""The boxes of a line by kind of sheet with rows of the day, from left to right as they are printed and keyed."""
BAG_TYPES = (
    "self",
    "sib",
    "full_sib",
    "half_sib",
    "bulk_sib",
    "cross",
    "reciprocal",
    "backcross",
    "three_way",
    "topcross",
    "testcross",
    "diallel",
    "pollen_mix",
    "induction",
)
"""Kinds of pollination by the number that stands for each on a bag sheet, from 1; printed numbers keep their meaning,
so new ones are added at the end. Open and isolated pollination need no tassel bag."""
BAG_BOXES = (Box("type", "tassel_bagged"), Box("pollinated", "pollinated"))
"""The boxes of a line of a bag sheet: the number of the type, and ears."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line as keyed: the row's tag, the male's tag where it is written, and a number for each box with one.

    On a bag sheet `tag` is the female row, `male` the row whose tassel the bag covers, `bag` the bag's eight signs.
    """

    tag: str
    male: str = ""
    values: tuple[tuple[str, int], ...] = ()
    bag: str = ""

    def get(self, key: str) -> int | None:
        """The number in a box; None if it is empty."""
        return dict(self.values).get(key)


@dataclass(frozen=True, slots=True)
class Difference:
    """One cell in which two keyings differ; `key` is a box, ``tag``, ``male`` or ``bag``; no text: none."""

    at: int
    key: str
    first: str
    second: str


@dataclass(frozen=True, slots=True)
class Fact:
    """What one box says as a note: kind, detail and value. The value of what was seen is the sheet's day: empty."""

    kind: str
    detail: str
    value: str


def list_boxes(kind: str) -> tuple[Box, ...]:
    """The boxes of a line of any kind of sheet."""
    return BAG_BOXES if kind == "bag" else BOXES[kind]


def find_limits(kind: str, plants: int) -> dict[str, int]:
    """The highest usual number of each box of a row with so many plants (0: not known); more is asked once more.

    Checked by tests/science/test_paper_boxes.py.
    """
    known = plants or USUAL_PLANTS
    most = {"shoot_bagged": SHOOTS_A_PLANT * known, "type": len(BAG_TYPES)}
    return {box.key: 1 if box.seen else most.get(box.key, known) for box in list_boxes(kind)}


def find_unusual(kind: str, line: Line, plants: int) -> tuple[tuple[str, int, int], ...]:
    """Boxes with more than is usual, each with its number and the highest usual one."""
    limits = find_limits(kind, plants)
    return tuple((key, value, limits[key]) for key, value in line.values if value > limits[key])


def list_facts(kind: str, line: Line) -> tuple[Fact, ...]:
    """What a line says, box by box: nothing for empty boxes and counts of 0."""
    facts = []
    for box in BOXES[kind]:
        value = line.get(box.key)
        if value is None:
            continue
        if box.seen:
            facts.append(Fact(box.kind if value else f"{box.kind}_not_yet", "", ""))
        elif value:
            facts.append(Fact(box.kind, box.detail, str(value)))
    return tuple(facts)


def compare_keyings(
    kind: str, first: Mapping[int, Line], second: Mapping[int, Line], printed: Sequence[str]
) -> tuple[Difference, ...]:
    """Cells in which two keyings of one sheet differ, from the top, left to right.

    Parameters
    ----------
    kind
        Kind of sheet.
    first, second
        Lines by their place on the sheet, from 0.
    printed
        Tags of the printed lines; a line below them holds what was written by hand.
    """
    found = []
    for at in sorted(first.keys() | second.keys()):
        nothing = Line(printed[at] if at < len(printed) else "")
        one, other = first.get(at, nothing), second.get(at, nothing)
        cells = [("tag", one.tag, other.tag), ("male", one.male, other.male), ("bag", one.bag, other.bag)]
        cells += [(box.key, _write(box, one), _write(box, other)) for box in list_boxes(kind)]
        found += [Difference(at, key, left, right) for key, left, right in cells if left != right]
    return tuple(found)


def _write(box: Box, line: Line) -> str:
    value = line.get(box.key)
    return "" if value is None or (not value and not box.seen) else str(value)


def replace_cell(line: Line, key: str, text: str) -> Line:
    """The line with one cell as somebody settled it; empty text empties it."""
    if key == "tag":
        return replace(line, tag=text)
    if key == "male":
        return replace(line, male=text)
    if key == "bag":
        return replace(line, bag=text)
    values = {name: value for name, value in line.values if name != key}
    if text:
        values[key] = int(text)
    return replace(line, values=tuple(sorted(values.items())))
