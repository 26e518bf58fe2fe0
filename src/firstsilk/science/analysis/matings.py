"""Which parents were crossed with which, and which plot holds which cross?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.answers import refuse
from firstsilk.science.analysis.columns import Column
from firstsilk.science.analysis.models import Array, Model
from firstsilk.science.analysis.records import arrange_records, label_of

LINE_TESTER, DIALLEL = "line-tester", "diallel"
KINDS = (LINE_TESTER, DIALLEL)
WITH_SELFS, WITH_RECIPROCALS = (1, 2), (1, 3)
"""Which of Griffing's four methods take parents themselves, and which both directions of a cross."""
MOST_CROSSES = 2_500
SHOWN = 12

Codes = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Matings:
    """Records of crosses: parents by name, crosses as pairs of their numbers (c, 2), and what each record is.

    In a diallel mothers and fathers are the same names. Methods 2 and 4 take both directions of a cross as one cross.
    `missing` names crosses of the full set that no record holds; `left_out` counts parents themselves that the
    method does not take, `dropped` records without a response.
    """

    kind: str
    griffing: int | None
    mothers: tuple[str, ...]
    fathers: tuple[str, ...]
    crosses: Codes
    cross: Codes
    block: Codes
    blocks: tuple[str, ...]
    response: Array
    missing: tuple[tuple[str, str], ...]
    left_out: int
    dropped: int

    @property
    def balanced(self) -> bool:
        """Whether every cross of the set stands equally often in each block."""
        if self.missing:
            return False
        counts = np.zeros((len(self.crosses), max(len(self.blocks), 1)), dtype=int)
        np.add.at(counts, (self.cross, self.block), 1)
        return bool(np.all(counts == counts[:1]))

    def names(self, cross: int) -> tuple[str, str]:
        """Mother and father of a cross."""
        mother, father = self.crosses[cross]
        return self.mothers[mother], self.fathers[father]


def arrange_matings(
    data: Mapping[str, Column],
    mother: str,
    father: str,
    response: str,
    block: str | None = None,
    kind: str = LINE_TESTER,
    griffing: int | None = None,
) -> Matings:
    """Take the crosses from the columns of a trial.

    Parameters
    ----------
    data
        Columns of equal length; records without a response are left out.
    mother, father, response, block
        Names of the columns; no block is one block.
    kind
        ``line-tester`` or ``diallel``.
    griffing
        Method 1 to 4 of a diallel: with parents and both directions, with parents, with both directions, crosses in
        one direction only. None takes the one that fits the records.

    Returns
    -------
    Matings
        Crosses and records.

    Raises
    ------
    InputRefused
        If kind or method are unknown or do not fit the records, a cell is empty, or there are too few parents or too
        many crosses.
    """
    if kind not in KINDS:
        raise refuse("kind_unknown", f"{kind!r} is no kind of crossing", f"Name one of: {', '.join(KINDS)}.")
    if griffing is not None and (kind != DIALLEL or griffing not in (1, 2, 3, 4)):
        raise refuse("griffing_unknown", f"Griffing's methods are 1 to 4 of a diallel, not {griffing} of a {kind}")
    if len({mother, father, response, block}) < 4:
        raise refuse("column_twice", "Mother, father, response and block must be four different columns")
    model = Model(response, ((mother,), (father,), *(((block,),) if block else ())))
    records = arrange_records(data, model)
    mothers, fathers = (tuple(label_of(data[name][at]) for at in records.kept) for name in (mother, father))
    where = records.classes[block] if block else None
    codes = where.codes if where else np.zeros(records.n, dtype=np.intp)
    blocks = where.levels if where else ()
    if kind == LINE_TESTER:
        return _factorial(
            (records.classes[mother].levels, records.classes[father].levels),
            np.column_stack([records.classes[mother].codes, records.classes[father].codes]),
            (codes, blocks, records.response, records.n_dropped),
        )
    both = np.arange(2 * records.n)
    parents = arrange_records({"parent": [*mothers, *fathers], "y": list(both)}, Model("y", (("parent",),))).classes[
        "parent"
    ]
    pairs = np.column_stack([parents.codes[: records.n], parents.codes[records.n :]])
    return _diallel(parents.levels, pairs, griffing, (codes, blocks, records.response, records.n_dropped))


_Rest = tuple[Codes, tuple[str, ...], Array, int]


def _factorial(names: tuple[tuple[str, ...], tuple[str, ...]], pairs: Codes, rest: _Rest) -> Matings:
    mothers, fathers = names
    if len(mothers) < 2 or len(fathers) < 2:
        raise refuse(
            "too_few_parents",
            f"Line x tester needs at least two mothers and two fathers; there are {len(mothers)} and {len(fathers)}",
        )
    crosses, cross = _number(pairs)
    made = {(int(a), int(b)) for a, b in crosses}
    missing = tuple((m, f) for a, m in enumerate(mothers) for b, f in enumerate(fathers) if (a, b) not in made)
    codes, blocks, response, dropped = rest
    return Matings(LINE_TESTER, None, mothers, fathers, crosses, cross, codes, blocks, response, missing, 0, dropped)


def _diallel(parents: tuple[str, ...], pairs: Codes, griffing: int | None, rest: _Rest) -> Matings:
    made = {(int(a), int(b)) for a, b in pairs}
    selfs = any(a == b for a, b in made)
    two_ways = any(a != b and (b, a) in made for a, b in made)
    method = griffing or {(True, True): 1, (True, False): 2, (False, True): 3, (False, False): 4}[selfs, two_ways]
    if method in WITH_SELFS and not selfs:
        raise refuse(
            "no_parents", f"Method {method} needs the parents themselves; no record has mother and father alike"
        )
    if method in WITH_RECIPROCALS and not two_ways:
        raise refuse("no_reciprocals", f"Method {method} needs crosses in both directions; there are none")
    codes, blocks, response, dropped = rest
    kept = np.flatnonzero((pairs[:, 0] != pairs[:, 1]) | (method in WITH_SELFS))
    if not len(kept):
        raise refuse("no_crosses", "No record holds a cross")
    there, numbered = np.unique(pairs[kept], return_inverse=True)
    parents, used = tuple(parents[at] for at in there), np.asarray(numbered, dtype=np.intp).reshape(-1, 2)
    if len(parents) < 2:
        raise refuse("too_few_parents", f"A diallel needs at least two parents; there is {parents[0]!r} alone")
    if method not in WITH_RECIPROCALS:
        used = _one_direction(used)
    crosses, cross = _number(used)
    missing = _missing(parents, crosses, method)
    left_out = len(pairs) - len(kept)
    return Matings(
        DIALLEL,
        method,
        parents,
        parents,
        crosses,
        cross,
        codes[kept],
        blocks,
        response[kept],
        missing,
        left_out,
        dropped,
    )


def _one_direction(pairs: Codes) -> Codes:
    """Both directions of a cross as one: as it was made, or in the order of the names if made both ways."""
    made = {(int(a), int(b)) for a, b in pairs}
    turned = [(b, a) if (b, a) in made and b < a else (a, b) for a, b in pairs.tolist()]
    return np.array(turned, dtype=np.intp)


def _number(pairs: Codes) -> tuple[Codes, Codes]:
    crosses, cross = np.unique(pairs, axis=0, return_inverse=True)
    if len(crosses) > MOST_CROSSES:
        raise refuse("too_large", f"{len(crosses)} crosses are more than are taken at once ({MOST_CROSSES})")
    return np.asarray(crosses, dtype=np.intp), np.asarray(cross, dtype=np.intp).ravel()


def _missing(parents: tuple[str, ...], crosses: Codes, method: int) -> tuple[tuple[str, str], ...]:
    made = {(int(a), int(b)) for a, b in crosses}
    absent = []
    for a, mother in enumerate(parents):
        for b, father in enumerate(parents):
            if a == b:
                wanted = method in WITH_SELFS and (a, a) not in made
            elif method in WITH_RECIPROCALS:
                wanted = (a, b) not in made
            else:
                wanted = a < b and (a, b) not in made and (b, a) not in made
            if wanted:
                absent.append((mother, father))
    return tuple(absent)
