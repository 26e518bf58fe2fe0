"""Are efficiencies of layouts those that are published or follow from the information matrix?"""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import numpy as np
import pytest
from trial_tables import OATS_ALPHA, WHEAT_ALPHA, alpha_trial

from firstsilk.science.trials.designs import design_efficiency, difference_variances, efficiency_bound


def efficiency_of(blocks: list[list[int]]) -> float:
    """Harmonic-mean efficiency of entries in blocks."""
    entries = [entry for block in blocks for entry in block]
    names = [at for at, block in enumerate(blocks) for _ in block]
    value = design_efficiency(entries, names).value
    assert value is not None
    return value


def alpha_blocks(array: list[list[int]], s: int) -> list[list[int]]:
    """Blocks of an alpha array (Patterson & Williams 1976): block b of replicate j = {i s + (a_ij + b) mod s}."""
    return [[i * s + (row[j] + b) % s for i, row in enumerate(array)] for j in range(len(array[0])) for b in range(s)]


def test_efficiency_factor_of_the_oat_alpha_layout_is_that_of_series_three() -> None:
    # John & Williams 1995 p.146: E .72648821; 168 pairs never meet, 108 meet once.
    data = alpha_trial(OATS_ALPHA)
    places = list(zip(data["rep"], data["block"], strict=True))
    found = design_efficiency(data["gen"], places)
    assert found.value == pytest.approx(0.72648821, abs=1e-7)
    assert found.connected
    inside: dict[object, list[object]] = {}
    for place, entry in zip(places, data["gen"], strict=True):
        inside.setdefault(place, []).append(entry)
    met = Counter(pair for block in inside.values() for pair in combinations(sorted(map(str, block)), 2))
    assert (len(met), set(met.values())) == (108, {1})
    assert 24 * 23 // 2 - len(met) == 168


def test_efficiency_factor_of_the_wheat_alpha_layout() -> None:
    data = alpha_trial(WHEAT_ALPHA)
    assert design_efficiency(data["gen"], data["block"]).value == pytest.approx(0.75376884, abs=1e-7)


ALPHA = {
    "I k=4 s=5": ([[0, 0], [0, 1], [0, 2], [0, 3]], 5, 0.67695962),
    "II k=4 s=5": ([[0, 0, 0], [0, 1, 4], [0, 2, 3], [0, 3, 2]], 5, 0.74468085),
    "III k=4 s=6": ([[0, 0, 0], [0, 1, 3], [0, 2, 1], [0, 3, 4]], 6, 0.726488),
    "III k=5 s=6": ([[0, i, (0, 3, 1, 4, 2)[i]] for i in range(5)], 6, 0.784346),
    "III k=6 s=8": ([[0, i, (0, 4, 1, 5, 2, 6)[i]] for i in range(6)], 8, 0.806993),
    "IV k=5 s=7": ([[0, i, (7 - i) % 7, (0, 4, 1, 5, 2)[i]] for i in range(5)], 7, 0.796671),
    "I k=5 s=20": ([[0, i] for i in range(5)], 20, 0.547562),
    "II k=5 s=5": ([[0, i, (5 - i) % 5] for i in range(5)], 5, 0.8),
}


@pytest.mark.parametrize("series", ALPHA)
def test_alpha_generator_series_have_their_efficiency_and_keep_below_the_bound(series: str) -> None:
    array, s, wanted = ALPHA[series]
    found = efficiency_of(alpha_blocks(array, s))
    assert found == pytest.approx(wanted, abs=6e-7)
    bound = efficiency_bound(len(array) * s, len(array[0]), s)
    assert bound is not None
    assert found <= bound + 1e-12


@pytest.mark.parametrize(
    ("v", "r", "s", "bound"),
    [(24, 3, 6, 0.75409836), (20, 3, 5, 0.76), (64, 3, 8, 0.85714286), (16, 3, 4, 0.76923077), (35, 4, 7, 0.809524)],
)
def test_efficiency_bound_of_patterson_and_williams(v: int, r: int, s: int, bound: float) -> None:
    assert efficiency_bound(v, r, s) == pytest.approx(bound, abs=5e-7)


def square_lattice(k: int, r: int) -> list[list[int]]:
    """Rows, columns, then letters of Latin squares row + m x column (k prime)."""
    cells = [(i, j) for i in range(k) for j in range(k)]
    kinds = [lambda i, j: i, lambda i, j: j]
    kinds += [lambda i, j, m=m: (i + m * j) % k for m in range(1, k)]  # type: ignore[misc]
    return [[i * k + j for i, j in cells if kind(i, j) == b] for kind in kinds[:r] for b in range(k)]


@pytest.mark.parametrize(
    ("k", "r", "wanted"),
    [(5, 2, 0.75), (5, 3, 0.8), (5, 6, 0.83333333), (7, 4, 0.85714286), (7, 8, 0.875), (3, 2, 0.666667)],
)
def test_square_lattice_e_of_cochran_and_cox(k: int, r: int, wanted: float) -> None:
    # Cochran & Cox 1957 ch. 10 (formula from memory): (k+1)(r-1)/((k+1)(r-1)+r).
    assert efficiency_of(square_lattice(k, r)) == pytest.approx(wanted, abs=5e-7)
    assert (k + 1) * (r - 1) / ((k + 1) * (r - 1) + r) == pytest.approx(wanted, abs=5e-7)


@pytest.mark.parametrize(("s", "wanted"), [(4, 0.59459459), (5, 0.67695962), (6, 0.72803347), (7, 0.76370410)])
def test_rectangular_lattice_e_of_two_replicates(s: int, wanted: float) -> None:
    # s(s-1) entries: the cells of an s x s square but for its diagonal; rows, then columns.
    rows = [[i * s + j for j in range(s) if j != i] for i in range(s)]
    columns = [[i * s + j for i in range(s) if j != i] for j in range(s)]
    assert efficiency_of(rows + columns) == pytest.approx(wanted, abs=5e-8)


def test_bibd_e_of_seven_entries_in_blocks_of_three_and_of_thirty_one_in_blocks_of_six() -> None:
    # v(k-1)/(k(v-1)): 7 points with lines {0,1,3}+b; 31 points with the difference set {1,5,11,24,25,27} (mod 31).
    assert efficiency_of([[(x + b) % 7 for x in (0, 1, 3)] for b in range(7)]) == pytest.approx(0.77777778, abs=1e-8)
    blocks = [[(x + b) % 31 for x in (1, 5, 11, 24, 25, 27)] for b in range(31)]
    assert efficiency_of(blocks) == pytest.approx(0.86111111, abs=1e-8)


def test_rowcol_e_of_a_balanced_lattice_square() -> None:
    # k = 5: rows only or columns only 5/6, both within replicate (k-1)/(k+1) = 2/3, all canonical efficiencies equal.
    k = 5
    entries, rows, columns = [], [], []
    for rep, (one, two) in enumerate([(0, 1), (2, 3), (4, 5)]):
        kinds = [lambda i, j: i, lambda i, j: j, *[lambda i, j, m=m: (i + m * j) % k for m in range(1, k)]]
        for i in range(k):
            for j in range(k):
                entries.append(i * k + j)
                rows.append((rep, kinds[one](i, j)))
                columns.append((rep, kinds[two](i, j)))
    found = design_efficiency(
        entries * 2, [*rows, *((r + 3, c) for r, c in columns)], [*columns, *((r + 3, c) for r, c in rows)]
    )
    assert found.value == pytest.approx(0.66666667, abs=1e-8)
    assert min(found.factors) == pytest.approx(max(found.factors), abs=1e-10)
    assert design_efficiency(entries * 2, [*rows, *((r + 3, c) for r, c in columns)]).value == pytest.approx(5 / 6)


def test_efficiency_factor_of_a_layout_in_two_parts_does_not_exist() -> None:
    found = design_efficiency(["A", "B", "C", "D"], [1, 1, 2, 2])
    assert found.value is None
    assert not found.connected


def test_p_rep_variances_of_twelve_entries_of_which_four_stand_twice() -> None:
    # Information matrix: entries 1-4 in both blocks of 8, 5-8 in block 1 only, 9-12 in block 2 only.
    entries = [*range(1, 9), *range(1, 5), *range(9, 13)]
    found = difference_variances(entries, [1] * 8 + [2] * 8)
    assert np.mean(found[np.triu_indices(12, 1)]) == pytest.approx(1.8484848, abs=1e-7)
    assert [found[0, 1], found[0, 4], found[4, 5], found[4, 8]] == pytest.approx([1, 1.625, 2, 2.5], abs=1e-9)


def test_augmented_sed_of_federers_twenty_plots() -> None:
    # Federer 1956 Hawaiian Planters' Record 55:191: MSE 26.972222;
    # SED of two checks, two new in one block, two new in two blocks, new and check.
    entries = [*"ABCDgkl", *"ABCDei", *"ABCDfhj"]
    found = np.sqrt(26.972222 * difference_variances(entries, [1] * 7 + [2] * 6 + [3] * 7))
    at = {entry: place for place, entry in enumerate(dict.fromkeys(entries))}
    pairs = [("A", "B"), ("g", "k"), ("g", "e"), ("g", "A")]
    seds = [found[at[one], at[two]] for one, two in pairs]
    assert seds == pytest.approx([4.2404577, 7.3446882, 8.2116110, 6.3606865], abs=1e-6)


def test_differences_that_cannot_be_estimated_are_infinite() -> None:
    found = difference_variances(["A", "B", "C", "D"], [1, 1, 2, 2])
    assert found[0, 1] == pytest.approx(2.0)
    assert np.isinf(found[0, 2])
