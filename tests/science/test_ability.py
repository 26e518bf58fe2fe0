"""Are effects, errors, sums of squares and variances of crosses those of plain formulas and of slow least squares?"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.ability import estimate_ability
from firstsilk.science.analysis.ability_variances import split_sums_of_squares
from firstsilk.science.analysis.cross_means import adjust_for_blocks
from firstsilk.science.analysis.matings import Matings, arrange_matings
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm

Columns = dict[str, list[object]]


def crosses_of(method: int, p: int) -> list[tuple[int, int]]:
    """The crosses of Griffing's methods among p parents."""
    every = itertools.product(range(p), repeat=2)
    takes = {1: lambda a, b: True, 2: lambda a, b: a <= b, 3: lambda a, b: a != b, 4: lambda a, b: a < b}[method]
    return [pair for pair in every if takes(*pair)]


def grow(crosses: list[tuple[int, int]], blocks: int, seed: int = 1, kind: str = "diallel") -> Columns:
    """One plot of each cross in each block."""
    dice = np.random.default_rng(seed)
    gca, shift = dice.normal(0, 2, 30), dice.normal(0, 1, blocks)
    data: Columns = {"m": [], "f": [], "b": [], "y": []}
    for block, (a, b) in itertools.product(range(blocks), crosses):
        data["m"].append(f"P{a:02}")
        data["f"].append(f"P{b:02}" if kind == "diallel" else f"T{b:02}")
        data["b"].append(block)
        data["y"].append(float(30 + gca[a] + gca[b] + shift[block] + dice.normal()))
    return data


def arrange(data: Columns, kind: str = "diallel", griffing: int | None = None, block: str | None = "b") -> Matings:
    return arrange_matings(data, "m", "f", "y", block, kind, griffing)


def thin(data: Columns, leave: list[int]) -> Columns:
    kept = [at for at in range(len(data["y"])) if at not in leave]
    return {name: [values[at] for at in kept] for name, values in data.items()}


P, R = 6, 3


@pytest.mark.parametrize("method", [1, 2, 3, 4])
def test_a_full_set_gives_griffings_formulas(method: int) -> None:
    """Griffing 1956 Aust. J. Biol. Sci. 9:463; sums of squares of plots are R times those of means."""
    data = grow(crosses_of(method, P), R)
    found = estimate_ability(arrange(data))
    x = np.zeros((P, P))
    for a, b, y in zip(data["m"], data["f"], data["y"], strict=True):
        x[int(str(a)[1:]), int(str(b)[1:])] += float(str(y)) / R
    if method in (2, 4):
        x = np.triu(x) + np.triu(x, 1).T
    if method == 1:
        rows, total = x.sum(axis=0) + x.sum(axis=1), x.sum()
        mean, g = total / P**2, rows / (2 * P) - total / P**2
        s = (x + x.T) / 2 - (rows[:, None] + rows) / (2 * P) + total / P**2
        ss = (rows**2).sum() / (2 * P) - 2 * total**2 / P**2
    elif method == 2:
        rows, total = x.sum(axis=1) + np.diag(x), np.triu(x).sum()
        mean, g = 2 * total / (P * (P + 1)), (rows - 2 * total / P) / (P + 2)
        s = x - (rows[:, None] + rows) / (P + 2) + 2 * total / ((P + 1) * (P + 2))
        ss = ((rows**2).sum() - 4 * total**2 / P) / (P + 2)
    elif method == 3:
        rows, total = x.sum(axis=0) + x.sum(axis=1), x.sum()
        mean, g = total / (P * (P - 1)), (P * rows - 2 * total) / (2 * P * (P - 2))
        s = (x + x.T) / 2 - (rows[:, None] + rows) / (2 * (P - 2)) + total / ((P - 1) * (P - 2))
        ss = (rows**2).sum() / (2 * (P - 2)) - 2 * total**2 / (P * (P - 2))
    else:
        rows, total = x.sum(axis=1), np.triu(x).sum()
        mean, g = 2 * total / (P * (P - 1)), (P * rows - 2 * total) / (P * (P - 2))
        s = x - (rows[:, None] + rows) / (P - 2) + 2 * total / ((P - 1) * (P - 2))
        ss = (rows**2).sum() / (P - 2) - 4 * total**2 / (P * (P - 2))
    assert found.mean == pytest.approx(mean)
    assert list(found.gca["gca"].values()) == pytest.approx(g)
    for one in found.sca:
        a, b = int(one.mother[1:]), int(one.father[1:])
        assert one.value == pytest.approx(s[a, b], abs=1e-9)
    for one in found.reciprocal:
        a, b = int(one.mother[1:]), int(one.father[1:])
        assert one.value == pytest.approx((x[a, b] - x[b, a]) / 2, abs=1e-9)
    assert len(found.reciprocal) == (P * (P - 1) // 2 if method in (1, 3) else 0)
    lines = {line.source: line for line in found.anova}
    assert lines["gca"].ss == pytest.approx(R * ss)
    if method in (1, 3):
        assert lines["reciprocal"].ss == pytest.approx(R * ((x - x.T) ** 2).sum() / 4)
    assert sum(line.ss for line in found.anova) == pytest.approx(np.var(data["y"]) * len(data["y"]))
    assert sum(line.df for line in found.anova) == len(data["y"]) - 1


@pytest.mark.parametrize("method", [1, 2, 3, 4])
def test_a_full_set_gives_griffings_standard_errors(method: int) -> None:
    """Griffing 1956 (formulas of methods 2 to 4 from memory), in units of the error of a cross mean."""
    found = estimate_ability(arrange(grow(crosses_of(method, P), R)))
    me = found.anova[-1].ms / R
    wanted = {
        1: {
            "gca": (P - 1) / (2 * P**2),
            "gca_difference": 1 / P,
            "sca": (P**2 - 2 * P + 2) / (2 * P**2),
            "sca_parent": (P - 1) ** 2 / P**2,
            "reciprocal": 1 / 2,
        },
        2: {
            "gca": (P - 1) / (P * (P + 2)),
            "gca_difference": 2 / (P + 2),
            "sca": (P**2 + P + 2) / ((P + 1) * (P + 2)),
            "sca_parent": P * (P - 1) / ((P + 1) * (P + 2)),
        },
        3: {
            "gca": (P - 1) / (2 * P * (P - 2)),
            "gca_difference": 1 / (P - 2),
            "sca": (P - 3) / (2 * (P - 1)),
            "reciprocal": 1 / 2,
        },
        4: {"gca": (P - 1) / (P * (P - 2)), "gca_difference": 2 / (P - 2), "sca": (P - 3) / (P - 1)},
    }[method]
    assert {name: value**2 / me for name, value in found.se.items()} == pytest.approx(wanted)
    assert list(found.gca_se["gca"].values()) == pytest.approx([found.se["gca"]] * P)


@pytest.mark.parametrize("method", [1, 2, 3, 4])
def test_mean_squares_of_a_full_set_are_expected_as_griffing_says(method: int) -> None:
    matings = arrange(grow(crosses_of(method, P), R))
    splits = {split.source: split for split in split_sums_of_squares(matings, adjust_for_blocks(matings))}
    to_gca = {1: (2 * (P - 1) / P, 2 * P), 2: (1, P + 2), 3: (2, 2 * (P - 2)), 4: (1, P - 2)}[method]
    to_sca = {1: 2 * (P**2 - P + 1) / P**2, 2: 1, 3: 2, 4: 1}[method]
    gca, sca = splits["gca"], splits["sca"]
    assert gca.expected["sca"] / gca.df == pytest.approx(R * to_gca[0])
    assert gca.expected["gca"] / gca.df == pytest.approx(R * to_gca[1])
    assert sca.expected["sca"] / sca.df == pytest.approx(R * to_sca)
    assert sca.expected["gca"] == pytest.approx(0, abs=1e-9)
    if method in (1, 3):
        other = splits["reciprocal"]
        assert other.expected["reciprocal"] / other.df == pytest.approx(2 * R)
        assert [other.expected["gca"], other.expected["sca"]] == pytest.approx([0, 0], abs=1e-9)


def dummies(codes: np.ndarray) -> np.ndarray:
    return (codes[:, None] == np.unique(codes)).astype(float)


def left_over(y: np.ndarray, *blocks: np.ndarray) -> float:
    design = np.hstack([np.ones((len(y), 1)), *blocks])
    return float(np.sum((y - design @ np.linalg.lstsq(design, y, rcond=None)[0]) ** 2))


@settings(max_examples=25)
@given(st.sampled_from(["line-tester", "diallel 1", "diallel 2", "diallel 3", "diallel 4"]), st.integers(0, 10_000))
def test_unequal_plots_give_the_sums_of_squares_and_means_of_slow_least_squares(which: str, seed: int) -> None:
    kind, method = which.split()[0], int(which[-1]) if which[-1].isdigit() else None
    pairs = list(itertools.product(range(5), range(3))) if method is None else crosses_of(method, 5)
    data = grow(pairs, 3, seed, kind)
    dice = np.random.default_rng(seed)
    # In the first block each cross stands, so that none is lost.
    data = thin(data, list(len(pairs) + dice.choice(2 * len(pairs), 4, replace=False)))
    matings = arrange(data, kind, method)
    found = estimate_ability(matings)
    y, cross, block = matings.response, dummies(matings.cross), dummies(matings.block)
    means = np.linalg.lstsq(np.hstack([cross, block[:, :-1] - block[:, -1:]]), y, rcond=None)[0][: cross.shape[1]]
    adjusted = adjust_for_blocks(matings)
    assert adjusted.values == pytest.approx(means)
    full = np.hstack([cross, block[:, :-1] - block[:, -1:]])
    spread = np.linalg.inv(full.T @ full)[: cross.shape[1], : cross.shape[1]]
    assert adjusted.spread == pytest.approx(spread, abs=1e-9)
    mother = (matings.crosses[matings.cross][:, :1] == np.arange(len(matings.mothers))).astype(float)
    father = (matings.crosses[matings.cross][:, 1:] == np.arange(len(matings.fathers))).astype(float)
    sums = {line.source: line.ss for line in found.anova}
    assert sums["block"] == pytest.approx(left_over(y) - left_over(y, block))
    if method is None:
        both = left_over(y, block, mother, father)
        assert sums["gca_mother"] == pytest.approx(left_over(y, block, father) - both)
        assert sums["gca_father"] == pytest.approx(left_over(y, block, mother) - both)
        before = both
    else:
        before = left_over(y, block, mother + father)
        assert sums["gca"] == pytest.approx(left_over(y, block) - before)
    end = left_over(y, block, cross)
    assert sums["sca"] + sums.get("reciprocal", 0.0) == pytest.approx(before - end)
    assert sums["residual"] == pytest.approx(end)
    assert found.variances.by == "reml" or "REML" in found.variances.remark


def test_crosses_missing_by_plan_give_least_squares_without_sca() -> None:
    """Kempthorne & Curnow 1961: each of nine parents with four others, in a ring; equal replicates."""
    ring = [(a, (a + step) % 9) for a in range(9) for step in (2, 3)]
    data = grow([tuple(sorted(pair)) for pair in ring], 2)
    matings = arrange(data)
    found = estimate_ability(matings)
    assert len(matings.missing) == 18
    counts = np.zeros((len(matings.response), 9))
    for side in (0, 1):
        counts[np.arange(len(counts)), matings.crosses[matings.cross][:, side]] += 1
    block = dummies(matings.block)
    design = np.vstack(
        [np.hstack([np.ones((len(counts), 1)), counts, block]), [[0] + [1] * 9 + [0, 0]], [[0] * 10 + [1, 1]]]
    )
    slow = np.linalg.lstsq(design, np.append(matings.response, [0, 0]), rcond=None)[0]
    assert found.mean == pytest.approx(slow[0])
    assert list(found.gca["gca"].values()) == pytest.approx(slow[1:10])
    sca = np.array([one.value for one in found.sca])
    assert matings.crosses.shape == (18, 2)
    assert sca.sum() == pytest.approx(0, abs=1e-9)
    assert {line.source: line.df for line in found.anova} == {"block": 1, "gca": 8, "sca": 9, "residual": 17}
    assert found.variances.by == "reml"


def test_expected_sums_of_squares_of_unequal_plots_are_traces_of_slow_projections() -> None:
    data = thin(grow(list(itertools.product(range(4), range(3))), 2, 5, "line-tester"), [3, 14, 20])
    matings = arrange(data, "line-tester")
    cross, block = dummies(matings.cross), dummies(matings.block)
    mother = (matings.crosses[matings.cross][:, :1] == np.arange(4)).astype(float)
    father = (matings.crosses[matings.cross][:, 1:] == np.arange(3)).astype(float)

    def onto(*parts: np.ndarray) -> np.ndarray:
        design = np.hstack([np.ones((len(cross), 1)), *parts])
        return design @ np.linalg.pinv(design)

    both = onto(block, mother, father)
    slow = {
        "gca_mother": both - onto(block, father),
        "gca_father": both - onto(block, mother),
        "sca": onto(block, cross) - both,
    }
    for split in split_sums_of_squares(matings, adjust_for_blocks(matings)):
        for name, columns in (("gca_mother", mother), ("gca_father", father), ("sca", cross)):
            wanted = float(np.trace(slow[split.source] @ columns @ columns.T))
            assert split.expected[name] == pytest.approx(wanted, abs=1e-8), (split.source, name)


def test_variances_by_moments_are_right_on_average_also_when_plots_are_unequal() -> None:
    """400 trials with variances 4 (mothers), 2 (fathers), 1 (crosses), 1 (error): means within 4 standard errors."""
    dice = np.random.default_rng(8)
    pairs = list(itertools.product(range(8), range(6)))
    gone = dice.choice(2 * len(pairs), 9, replace=False)
    told = []
    for _ in range(400):
        data = grow(pairs, 2, 1, "line-tester")
        m, f, s = dice.normal(0, 2, 8), dice.normal(0, 2**0.5, 6), dice.normal(0, 1, (8, 6))
        data["y"] = [float(m[a] + f[b] + s[a, b] + dice.normal()) for _ in range(2) for a, b in pairs]
        found = estimate_ability(arrange(thin(data, list(gone)), "line-tester"), variances_by="moments").variances
        whole = {**found.values, **found.below_zero}
        told.append([whole[name] for name in ("gca_mother", "gca_father", "sca", "residual")])
    off = np.mean(told, axis=0) - [4, 2, 1, 1]
    assert np.all(np.abs(off) < 4 * np.std(told, axis=0) / 20)


def test_variances_of_unequal_plots_are_those_of_the_mixed_model_written_down_plainly() -> None:
    data = thin(grow(list(itertools.product(range(7), range(4))), 2, 9, "line-tester"), [3, 14, 20, 41])
    found = estimate_ability(arrange(data, "line-tester")).variances
    random = tuple(RandomTerm(columns) for columns in (("m",), ("f",), ("m", "f")))
    fit = fit_mixed_model(data, Model("y", (("b",),), random))
    wanted = [fit.variance(term) for term in ("m", "f", "m:f", "residual")]
    told = [found.values[name] for name in ("gca_mother", "gca_father", "sca", "residual")]
    assert told == pytest.approx(wanted, rel=1e-5, abs=1e-8)
    assert found.by == "reml"


def test_a_variance_below_zero_is_given_as_zero_and_told() -> None:
    data = grow(crosses_of(2, 5), 3, 4)
    data["y"] = [float(value) for value in np.random.default_rng(12).normal(size=len(data["y"]))]
    variances = estimate_ability(arrange(data)).variances
    assert variances.below_zero
    for name, value in variances.below_zero.items():
        assert value < 0
        assert variances.values[name] == 0
        assert name in variances.at_bound


def test_without_replicates_only_what_needs_no_error_is_told() -> None:
    data = grow(crosses_of(3, 5), 1)
    found = estimate_ability(arrange(data))
    assert set(found.se.values()) == {None}
    assert found.variances.values["residual"] is None
    assert found.variances.values["gca"] is not None or "gca" in found.variances.below_zero
    assert (found.variances.values["sca"], found.variances.values["reciprocal"]) == (None, None)
    assert found.anova[-1].ms is None
    known = estimate_ability(arrange(data), 1.0, 40)
    assert known.se["reciprocal"] == pytest.approx(0.5**0.5)
    assert known.anova[-1].df == 40


def test_a_direction_that_is_missing_leaves_its_pair_untold() -> None:
    data = grow(crosses_of(3, 5), 2)
    gone = [at for at in range(40) if (data["m"][at], data["f"][at]) == ("P03", "P01")]
    matings = arrange(thin(data, gone), griffing=3)
    found = estimate_ability(matings)
    assert matings.missing == (("P03", "P01"),)
    (untold,) = (one for one in found.sca if one.value is None)
    assert (untold.mother, untold.father, untold.se) == ("P01", "P03", None)
    assert sum(one.value is None for one in found.reciprocal) == 1


def test_the_method_that_fits_is_taken_and_both_directions_of_one_cross_are_one() -> None:
    for method in (1, 2, 3, 4):
        assert arrange(grow(crosses_of(method, 4), 2)).griffing == method
    both = grow([*crosses_of(4, 4), (1, 0)], 2)
    matings = arrange(both, griffing=4)
    assert len(matings.crosses) == 6
    assert not matings.balanced
    assert matings.names(0) == ("P00", "P01")
    turned = arrange(grow([(3, 0), (0, 1), (2, 1), (1, 3), (2, 0), (2, 3)], 1))
    assert ("P03", "P00") in [turned.names(at) for at in range(6)]


@settings(max_examples=20)
@given(st.integers(1, 4), st.floats(0.01, 100), st.floats(-1000, 1000), st.randoms(use_true_random=False))
def test_unit_level_and_order_of_records_change_what_they_must(method: int, unit: float, level: float, dice) -> None:
    data = grow(crosses_of(method, 5), 2, 3)
    order = list(range(len(data["y"])))
    dice.shuffle(order)
    moved = {name: [values[at] for at in order] for name, values in data.items()}
    moved["y"] = [level + unit * float(str(value)) for value in moved["y"]]
    one, other = estimate_ability(arrange(data)), estimate_ability(arrange(moved))
    assert other.mean == pytest.approx(level + unit * one.mean)
    gca = [unit * value for value in one.gca["gca"].values()]
    assert list(other.gca["gca"].values()) == pytest.approx(gca, rel=1e-6, abs=1e-7 * unit)
    for before, after in zip(one.anova, other.anova, strict=True):
        assert after.ss == pytest.approx(unit**2 * before.ss, rel=1e-5, abs=1e-6 * unit**2)
    assert sum(other.gca["gca"].values()) == pytest.approx(0, abs=1e-8 * max(unit, 1))


def lone(pairs: str, **more: object) -> Columns:
    rows = [pair.split("x") for pair in pairs.split()]
    data: Columns = {"m": [r[0] for r in rows], "f": [r[1] for r in rows], "b": [0] * len(rows)}
    return {**data, "y": [float(at % 7) for at in range(len(rows))], **more}  # type: ignore[dict-item]


@pytest.mark.parametrize(
    ("data", "kind", "griffing", "told"),
    [
        (lone("axb cxd"), "round", None, "'round' is no kind"),
        (lone("axb cxd"), "line-tester", 2, "Griffing's methods are 1 to 4 of a diallel, not 2 of a line-tester"),
        (lone("axb cxd"), "diallel", 5, "not 5"),
        (lone("axT bxT"), "line-tester", None, "there are 2 and 1"),
        (lone("axb axc bxc"), "diallel", 1, "Method 1 needs the parents themselves"),
        (lone("axa axb bxb"), "diallel", 1, "Method 1 needs crosses in both directions"),
        (lone("axb axc bxc"), "diallel", 3, "Method 3 needs crosses in both directions"),
        (lone("axa bxb"), "diallel", 4, "No record holds a cross"),
        (lone("axa axa"), "diallel", 2, "there is 'a' alone"),
        (lone("axb axc bxc dxe"), "diallel", 4, "do not join these parents, so their GCA cannot be told: d, e"),
        (lone("axc axd bxc bxd"), "diallel", 4, "cannot be told: a, b, c, d"),
        (lone("axS axT bxS cxU dxU"), "line-tester", None, "cannot be told"),
        (lone("axb axc bxc", b=[1, 1, 2]), "diallel", 4, "No chain of blocks joins these crosses with a x b: b x c"),
        (lone("axb axc bx"), "diallel", 4, "Column 'f', record 3: the class is missing"),
    ],
)
def test_what_cannot_be_told_is_refused_by_name(data: Columns, kind: str, griffing, told: str) -> None:
    with pytest.raises(InputRefused, match=told):
        estimate_ability(arrange(data, kind, griffing))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ({"error_ms": 0.0}, "mean square of the error must be above 0"),
        ({"error_ms": float("nan")}, "must be above 0"),
        ({"error_ms": 1.0, "error_df": -2}, "degrees of freedom of the error must be above 0"),
        ({"variances_by": "luck"}, "'luck' is no way to variances"),
    ],
)
def test_an_error_without_meaning_is_refused(words, told: str) -> None:
    with pytest.raises(InputRefused, match=told):
        estimate_ability(arrange(grow(crosses_of(4, 4), 2)), **words)


def test_one_column_cannot_be_two_things() -> None:
    with pytest.raises(InputRefused, match="four different columns"):
        arrange_matings(grow(crosses_of(4, 4), 1), "m", "m", "y", None, "diallel")
