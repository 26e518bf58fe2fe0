"""Where do the 20,000 lines of a first year come from? Six cycles of an invented programme, from a fixed seed."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np

from .simulating import ENTRIES_OF_FIRST_YEAR, Data, lay_first_year

if TYPE_CHECKING:
    from firstsilk.science.analysis.models import Model

FOUNDERS, PARENTS, CYCLES, LINES_OF_A_CROSS = 120, 200, 5, 10


@cache
def lay_programme(lines: int) -> tuple[tuple[tuple[str, ...], ...], np.ndarray]:
    """Members as (name, method, mother, father), and the worth of each line tested.

    Parents of a cycle are doubled haploids of crosses among those of the cycle before; the lines are selfed from
    crosses of the last ones, through a plant of the second and one of the fourth generation each.
    """
    dice = np.random.default_rng(5)
    members = [(f"F{k:03d}", "founder_inbred", "", "") for k in range(FOUNDERS)]
    members += [(f"C{k}", "founder_inbred", "", "") for k in range(6)]
    names, worth = [member[0] for member in members[:FOUNDERS]], dice.normal(0, np.sqrt(2.0), FOUNDERS)
    for cycle in range(CYCLES):
        pairs = np.array([dice.choice(len(names), 2, replace=False) for _ in range(PARENTS)])
        for k, (one, two) in enumerate(pairs):
            members.append((f"X{cycle}{k:03d}", "cross", names[one], names[two]))
            members.append((f"P{cycle}{k:03d}", "dh", f"X{cycle}{k:03d}", ""))
        names = [f"P{cycle}{k:03d}" for k in range(PARENTS)]
        worth = worth[pairs].mean(axis=1) + dice.normal(0, 1.0, PARENTS)
    crosses = np.array([dice.choice(len(names), 2, replace=False) for _ in range(-(-lines // LINES_OF_A_CROSS))])
    members += [(f"Y{k:04d}", "cross", names[one], names[two]) for k, (one, two) in enumerate(crosses)]
    of = np.arange(lines) // LINES_OF_A_CROSS
    for k in range(lines):
        members.append((f"Q{k:05d}", "self", f"Y{of[k]:04d}", ""))
        members.append((f"R{k:05d}", "self2", f"Q{k:05d}", ""))
        members.append((f"L{k:05d}", "self3", f"R{k:05d}", ""))
    tested = worth[crosses].mean(axis=1)[of] + dice.normal(0, 1.0, lines)
    return tuple(members), 0.55 * (tested - tested.mean())


def lay_related_year(lines: int = ENTRIES_OF_FIRST_YEAR, blocks: int = 300) -> Data:
    """A first year of lines of the programme."""
    return lay_first_year(lines, blocks, lay_programme(lines)[1])


def related_model(lines: int = ENTRIES_OF_FIRST_YEAR) -> Model:
    """Lines by their pedigree, all ancestors in it; else as a first year without."""
    from firstsilk.science.analysis.models import Model, RandomTerm
    from firstsilk.science.lineage.members import Member
    from firstsilk.science.lineage.relationship_inverse import find_sparse_relationship

    members = []
    for name, method, mother, father in lay_programme(lines)[0]:
        if method.startswith("self"):
            members.append(Member(name, "self", mother, "", int(method[4:] or 1)))
        else:
            members.append(Member(name, method, mother, father))
    related = find_sparse_relationship(members)
    terms = (RandomTerm(("line", "tested"), related), RandomTerm(("line", "site")), RandomTerm(("block",)))
    return Model("y", (("site",), ("group",)), terms, numeric=("tested",))
