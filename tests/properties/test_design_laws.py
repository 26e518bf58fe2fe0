"""What must hold for every layout of complete blocks?"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.trials.designs import DesignEntry, design_complete, design_efficiency, plan_field

ENTRIES = st.lists(st.integers(1, 3), min_size=2, max_size=12).map(
    lambda copies: tuple(DesignEntry(f"E{at}", count > 1, count) for at, count in enumerate(copies))
)


@given(ENTRIES, st.integers(1, 5), st.integers(0, 2**32))
def test_every_entry_stands_with_its_copies_once_in_each_replicate(
    entries: tuple[DesignEntry, ...], reps: int, seed: int
) -> None:
    plots = design_complete(entries, reps, np.random.default_rng(seed))
    assert [plot.plot for plot in plots] == list(range(1, len(plots) + 1))
    for rep in range(1, reps + 1):
        inside = Counter(plot.entry for plot in plots if plot.rep == rep)
        assert inside == {entry.name: entry.copies for entry in entries}
    assert {plot.block for plot in plots} == {1}


@given(ENTRIES, st.integers(1, 4), st.integers(0, 1000))
def test_the_same_seed_gives_the_same_layout(entries: tuple[DesignEntry, ...], reps: int, seed: int) -> None:
    one = design_complete(entries, reps, np.random.default_rng(seed))
    assert one == design_complete(entries, reps, np.random.default_rng(seed))


@given(ENTRIES, st.integers(1, 4))
def test_complete_blocks_have_efficiency_1_and_are_connected(entries: tuple[DesignEntry, ...], reps: int) -> None:
    plots = design_complete(entries, reps, np.random.default_rng(1))
    found = design_efficiency([plot.entry for plot in plots], [(plot.rep, plot.block) for plot in plots])
    assert found.connected
    assert found.value == pytest.approx(1.0, abs=1e-10)


@given(st.integers(1, 60), st.integers(1, 9))
def test_a_walk_of_the_field_steps_to_a_neighbour_and_never_twice_on_one_cell(plots: int, columns: int) -> None:
    walk = plan_field(plots, None, columns, columns)
    assert len(set(walk)) == plots
    steps = [abs(a - c) + abs(b - d) for (a, b), (c, d) in pairwise(walk)]
    assert set(steps) <= {1}
    assert max(column for _, column in walk) <= columns


@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 3)), min_size=2, max_size=30))
def test_canonical_efficiencies_lie_between_0_and_1_for_any_layout(plots: list[tuple[int, int]]) -> None:
    found = design_efficiency([entry for entry, _ in plots], [block for _, block in plots])
    assert all(-1e-9 <= factor <= 1 + 1e-9 for factor in found.factors)
    assert len(found.factors) == len({entry for entry, _ in plots}) - 1


def test_the_orders_of_a_replicate_are_equally_likely() -> None:
    # 6,000 layouts of three entries: each of the 6 orders about 1,000 times; chi-square (5 df) below its 0.1 % point.
    dice = np.random.default_rng(5)
    entries = tuple(DesignEntry(name) for name in "ABC")
    found = Counter("".join(plot.entry for plot in design_complete(entries, 1, dice)) for _ in range(6000))
    assert len(found) == 6
    assert sum((count - 1000) ** 2 / 1000 for count in found.values()) < 20.5
