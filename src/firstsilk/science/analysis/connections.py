"""Which levels of two columns hang together through the records, and which groups have nothing in common?"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np
import scipy.sparse

from firstsilk.answers import InputRefused, refuse
from firstsilk.science.analysis.records import Classes

SHOWN = 8


def find_groups(one: Classes, two: Classes) -> list[tuple[list[str], list[str]]]:
    """Levels of two columns, in groups that share records directly or through others; the group of the first first.

    Parameters
    ----------
    one, two
        Columns of the same records, such as environments and entries.

    Returns
    -------
    list
        For each group its levels of `one` and of `two`.

    Notes
    -----
    The connected components of levels joined by records. With more than one, differences between levels in different
    groups cannot be told from differences between the groups.

    References
    ----------
    Weeks & Williams 1964 Technometrics 6:319.

    Checked by
    ----------
    tests/science/test_connections.py
    """
    a, b = len(one.levels), len(two.levels)
    joined = scipy.sparse.coo_array((np.ones(len(one.codes)), (one.codes, a + two.codes)), shape=(a + b, a + b))
    count, group = scipy.sparse.csgraph.connected_components(joined, directed=False)
    groups: list[tuple[list[str], list[str]]] = [([], []) for _ in range(count)]
    for at, level in enumerate(one.levels):
        groups[group[at]][0].append(level)
    for at, level in enumerate(two.levels):
        groups[group[a + at]][1].append(level)
    return groups


def check_joined(columns: Sequence[Classes]) -> None:
    """Refuse fixed main effects of classes whose levels the records do not join.

    Parameters
    ----------
    columns
        The class columns that are fixed main effects.

    Raises
    ------
    InputRefused
        Naming the groups of the first two columns that fall apart. Two columns that say the same (each level of one
        with one of the other) are left to the check of the columns themselves.

    Checked by
    ----------
    tests/science/test_connections.py, tests/science/test_fit_nasty.py
    """
    for one, two in itertools.combinations(columns, 2):
        if len(one.levels) < 2 or len(two.levels) < 2:
            continue
        groups = find_groups(one, two)
        if len(groups) > 1 and not len(groups) == len(one.levels) == len(two.levels):
            raise _fall_apart(one, two, groups)


def _fall_apart(one: Classes, two: Classes, groups: Sequence[tuple[list[str], list[str]]]) -> InputRefused:
    told = "; ".join(f"{_list(left)} with {_list(right)}" for left, right in groups[:SHOWN])
    told += f"; and {len(groups) - SHOWN} more groups" if len(groups) > SHOWN else ""
    return refuse(
        "not_connected",
        f"The records of {one.name!r} and {two.name!r} fall into {len(groups)} groups that share nothing, so levels in "
        f"different groups cannot be compared: {told}",
        f"Make {two.name!r} or {one.name!r} random, fit the groups apart, or add records that join them.",
        columns=f"{one.name}, {two.name}",
        groups=len(groups),
    )


def _list(names: Sequence[str]) -> str:
    return ", ".join(names[:SHOWN]) + (f" and {len(names) - SHOWN} more" if len(names) > SHOWN else "")
