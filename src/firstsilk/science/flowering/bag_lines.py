"""What do the lines of a bag sheet say as notes: which tassels went under which bag, and which ears took its pollen?"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from firstsilk.science.flowering.paper_boxes import BAG_TYPES, Line


@dataclass(frozen=True, slots=True)
class BagFact:
    """One note of a bag sheet: of `kind` tassel_bagged or pollinated, on the row `tag`; `count` tassels or ears.

    `type` is empty where the sheet does not tell it; `male` where it names none, or several, for the bag.
    """

    kind: str
    tag: str
    bag: str
    male: str
    type: str
    count: int


def list_bag_facts(lines: Mapping[int, Line]) -> tuple[BagFact, ...]:
    """What a bag sheet says: first each tassel under its bag, then each line with ears.

    A bag that stands on several lines is one bag: the same male row counts once; several males are a pollen bulk, and
    no ear is noted with one of them. What one line tells of the bag, male and type, holds for its other lines too.

    Checked by tests/work/test_paper_sheets.py.
    """
    ordered = [line for _, line in sorted(lines.items())]
    males: dict[str, dict[str, str]] = defaultdict(dict)
    types: dict[str, set[str]] = defaultdict(set)
    for line in ordered:
        if line.male:
            males[line.bag][line.male] = males[line.bag].get(line.male) or name_type(line)
        types[line.bag] |= {name_type(line)} - {""}
    bagged = [
        BagFact("tassel_bagged", male, bag, "", type_, 1)
        for bag, found in males.items()
        for male, type_ in found.items()
    ]
    used = []
    for line in ordered:
        ears = line.get("pollinated")
        if ears:
            male = next(iter(males[line.bag])) if len(males[line.bag]) == 1 else ""
            type_ = name_type(line) or (min(types[line.bag]) if len(types[line.bag]) == 1 else "")
            used.append(BagFact("pollinated", line.tag, line.bag, male, type_, ears))
    return (*bagged, *used)


def name_type(line: Line) -> str:
    """The kind of pollination whose number was written; empty where there is none."""
    number = line.get("type")
    return BAG_TYPES[number - 1] if number else ""
