"""Does combining ability give published figures: line x tester, North Carolina II, Griffing's methods, REML?

Small tables are typed in with their sources; larger ones lie outside the project.
"""

from __future__ import annotations

import numpy as np
import pytest
from trial_tables import Columns, needs_checks, outside

from firstsilk.science.analysis.ability import Ability, estimate_ability
from firstsilk.science.analysis.ability_genetics import estimate_genetics
from firstsilk.science.analysis.ability_variances import NAMES, Variances, code_parts
from firstsilk.science.analysis.matings import Matings, arrange_matings
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Relationship

# Hanover & Barnes 1962; Becker 1984 Manual of Quantitative Genetics p.83-85: length, four replicates.
PINE = """
F193,M17,4.47,4.32,3.5,3.58 F193,M19,3.41,2.46,3.65,2.97 F193,M22,3.52,4.17,5.44,3.81 F193,M58,3.43,3.36,4.1,3.63
F195,M17,4.38,3.32,3.24,3.55 F195,M19,3.1,2.19,2.69,2.97 F195,M22,3.27,3.43,2.72,3.38 F195,M58,4.32,3.23,3.65,3.08
F197,M17,4.8,4.74,5.14,4.21 F197,M19,2.92,2.32,2.97,2.18 F197,M22,3.76,3.38,3.54,3.38 F197,M58,3.19,3.73,3.15,3.87
F201,M17,3.64,2.86,2.87,2.56 F201,M19,2.92,3.1,2.48,2.52 F201,M22,3.26,4.38,3.62,3.75 F201,M58,3.41,2.96,3.67,2.37
F203,M17,4.05,3.73,4.5,4.33 F203,M19,4.32,4.14,3.59,3.85 F203,M22,3.46,3.21,3.14,3.11 F203,M58,2.95,3.17,2.67,2.84
F204,M17,3.75,2.34,4.11,2.62 F204,M19,2.63,2.36,2.27,2.68 F204,M22,2.83,3.78,3.75,3.29 F204,M58,2.93,3.2,2.52,3.13
F208,M17,4.2,3.31,4.58,3.82 F208,M19,3.23,2.72,2.38,2.45 F208,M22,4.45,3.04,2.89,4.2 F208,M58,3.73,3.31,3.73,3.3
"""

# Lonnquist & Gardner 1961 Crop Science 1:179: maize varieties and their crosses, means of 12 plots;
# these six are the example of Gardner & Eberhart 1966 Table 5.
SIX = """
B,B,96.6 G,B,101.3 G,G,87.9 H,B,97.1 H,G,92.7 H,H,91.7 K,B,95.4 K,G,91.6 K,H,94.1 K,K,91.3 K2,B,102.7 K2,G,103.3
K2,H,105.4 K2,K,101.6 K2,K2,96.2 M,B,95.3 M,G,91.1 M,H,98.8 M,K,93.5 M,K2,100.7 M,M,91.0
"""


def pine() -> Columns:
    data: Columns = {"line": [], "tester": [], "rep": [], "length": []}
    for record in PINE.split():
        line, tester, *values = record.split(",")
        for rep, value in enumerate(values, 1):
            for name, cell in (("line", line), ("tester", tester), ("rep", f"R{rep}"), ("length", float(value))):
                data[name].append(cell)
    return data


def six(griffing: int) -> Matings:
    rows = [record.split(",") for record in SIX.split()]
    data: Columns = {"one": [r[0] for r in rows], "other": [r[1] for r in rows], "y": [float(r[2]) for r in rows]}
    return arrange_matings(data, "one", "other", "y", None, "diallel", griffing)


def tobacco() -> Matings:
    return arrange_matings(outside("hayman.tobacco.csv", year="1951"), "female", "male", "day", "block", "diallel", 1)


def sca(found: Ability) -> dict[frozenset[str], float | None]:
    return {frozenset((one.mother, one.father)): one.value for one in found.sca}


def sums(found: Ability) -> dict[str, float | None]:
    return {line.source: line.ss for line in found.anova}


@pytest.mark.parametrize("by", ["moments", "reml"])
def test_pine_as_line_x_tester_gives_the_sums_of_squares_and_variances_of_becker(by: str) -> None:
    found = estimate_ability(arrange_matings(pine(), "line", "tester", "length", "rep"), variances_by=by)
    wanted = {
        "block": 1.82181786,
        "gca_mother": 6.49765536,
        "gca_father": 12.353775,
        "sca": 13.4608875,
        "residual": 16.23443214,
    }
    assert sums(found) == pytest.approx(wanted, abs=1e-8)
    assert [line.df for line in found.anova] == [3, 6, 3, 18, 81]
    values = found.variances.values
    told = [values[name] for name in ("gca_mother", "gca_father", "sca", "residual")]
    assert told == pytest.approx([0.020944717, 0.12036064, 0.13685050, 0.20042509], abs=1e-8)
    # Becker 1984 p.85 prints four decimals.
    assert [round(value, 4) for value in told] == [0.0209, 0.1204, 0.1369, 0.2004]
    assert found.variances.by == by


def test_pine_as_line_x_tester_gives_effects_errors_and_contributions() -> None:
    """Plain means of the balanced table; errors root (Me / rt), (Me / rl), (Me / r), root (2 Me / rt)."""
    found = estimate_ability(arrange_matings(pine(), "line", "tester", "length", "rep"))
    assert found.mean == pytest.approx(3.3980357, abs=5e-8)
    assert list(found.gca["gca_mother"].values()) == pytest.approx(
        [0.340714, -0.115536, 0.181964, -0.249911, 0.168214, -0.386161, 0.060714], abs=6e-7
    )
    assert list(found.gca["gca_father"].values()) == pytest.approx([0.40625, -0.488393, 0.171964, -0.089821], abs=6e-7)
    effects = sca(found)
    crosses = ("F197 M17", "F203 M19", "F203 M58", "F201 M17")
    assert [effects[frozenset(cross.split())] for cross in crosses] == pytest.approx(
        [0.736250, 0.897143, -0.568929, -0.571875], abs=6e-7
    )
    told = [found.se[name] for name in ("gca_mother", "gca_father", "sca", "gca_mother_difference")]
    assert told == pytest.approx([0.11192215, 0.084605194, 0.2238443, 0.15828182], rel=1e-7)
    assert list(found.gca_se["gca_mother"].values()) == pytest.approx([0.11192215] * 7, rel=1e-7)
    assert list(found.percent.values()) == pytest.approx([20.108911, 38.232401, 41.658687], abs=1e-6)


def test_six_varieties_by_method_2_give_the_published_sums_of_squares_and_effects() -> None:
    """Effects as in Gardner & Eberhart 1966 Table 5; error mean square 7.1 on 60 df."""
    found = estimate_ability(six(2), 7.1, 60)
    assert found.mean == pytest.approx(96.157143, abs=5e-7)
    assert list(found.gca["gca"].items()) == [
        (name, pytest.approx(value, abs=1e-9))
        for name, value in zip(
            ("B", "G", "H", "K", "K2", "M"), (1.4875, -2.1625, -0.2, -1.7875, 4.125, -1.4625), strict=True
        )
    ]
    assert [sums(found)[name] for name in ("gca", "sca")] == pytest.approx([234.23, 238.94], abs=0.005)
    assert [line.df for line in found.anova] == [5, 15, 60]
    assert [line.f for line in found.anova[:2]] == pytest.approx([6.5980, 2.2436], abs=1e-4)
    effects = sca(found)
    told = [effects[frozenset(pair)] for pair in (("B", "G"), ("G", "K2"), ("H", "M"), ("B",))]
    assert told == pytest.approx([5.8179, 5.1804, 4.3054, -2.5321], abs=6e-5)
    assert found.variances.values["gca"] == pytest.approx(3.8645714, abs=5e-8)
    assert found.variances.values["sca"] == pytest.approx(15.929427 - 7.1, abs=5e-5)
    # GCA does not need the error: (Mg - Ms) / (p + 2).
    alone = estimate_ability(six(2)).variances.values
    assert alone["gca"] == pytest.approx(3.8645714, abs=5e-8)
    assert (alone["sca"], alone["residual"]) == (None, None)


def test_six_varieties_by_method_4_give_the_effects_of_its_formulas() -> None:
    matings = six(4)
    found = estimate_ability(matings)
    assert (matings.left_out, matings.missing) == (6, ())
    assert found.mean == pytest.approx(97.64)
    assert list(found.gca["gca"].values()) == pytest.approx([0.9, -2.05, -0.025, -3.0, 6.375, -2.2])
    assert [sums(found)[name] for name in ("gca", "sca")] == pytest.approx([237.975, 63.781])


@needs_checks
def test_twelve_varieties_by_method_4_give_published_means_of_their_crosses() -> None:
    """Lonnquist & Gardner 1961 Table 1, to one decimal: a parent's mean is m + g (p - 2) / (p - 1)."""
    data = outside("lonnquist.maize.csv")
    found = estimate_ability(arrange_matings(data, "p1", "p2", "yield", None, "diallel", 4))
    gca = found.gca["gca"]
    assert found.mean == pytest.approx(95.589394, abs=5e-7)
    assert [gca["K2"], gca["L"]] == pytest.approx([7.451667, -7.008333], abs=6e-7)
    assert [sums(found)[name] for name in ("gca", "sca")] == pytest.approx([1316.9477, 309.83491], abs=1e-4)
    parents = ("C", "L", "M", "H", "G", "P", "B", "RM", "N", "K", "R2", "K2")
    means = (94.8, 89.2, 95.0, 96.4, 95.3, 95.2, 97.3, 93.7, 95.0, 94.0, 98.9, 102.4)
    for name, mean in zip(parents, means, strict=True):
        assert found.mean + gca[name] * 10 / 11 == pytest.approx(mean, abs=0.051), name


@needs_checks
def test_six_parents_by_method_1_give_the_published_gca() -> None:
    """Grover & Rai 2010 p.253, four replicates; errors by Griffing's formulas with p = 6, Me' = Me / 4."""
    found = estimate_ability(
        arrange_matings(outside("grover.diallel.csv"), "parent1", "parent2", "yield", "rep", "diallel")
    )
    assert found.mean == pytest.approx(93.0774, abs=5e-5)
    wanted = [1.4851, -0.9911, 2.2631, 5.4247, -4.2490, -3.9328]
    assert list(found.gca["gca"].values()) == pytest.approx(wanted, abs=6e-5)
    (error,) = (line for line in found.anova if line.source == "residual")
    assert (error.ms, error.df) == (pytest.approx(117.93313, abs=6e-6), 105)
    me, p = error.ms / 4, 6
    assert found.se["gca"] ** 2 == pytest.approx((p - 1) / (2 * p**2) * me)
    assert found.se["sca_parent"] ** 2 == pytest.approx((p - 1) ** 2 / p**2 * me)
    assert found.se["sca"] ** 2 == pytest.approx((p**2 - 2 * p + 2) / (2 * p**2) * me)


@needs_checks
def test_tobacco_by_method_1_gives_the_published_sums_of_squares() -> None:
    """Hayman 1954 Biometrics 10:235 Table 7."""
    found = estimate_ability(tobacco())
    wanted = {"block": 1.42, "gca": 2777.17, "sca": 1022.38, "reciprocal": 191.12, "residual": 262.60}
    assert sums(found) == pytest.approx(wanted, abs=0.005)
    assert [line.df for line in found.anova] == [1, 7, 28, 28, 63]
    gca = [4.619531, -2.458594, 4.963281, 1.835156, -2.092969, 0.244531, -4.471094, -2.639844]
    assert list(found.gca["gca"].values()) == pytest.approx(gca, abs=6e-7)


@needs_checks
def test_tobacco_gives_the_published_variances_by_reml() -> None:
    """Moehring, Melchinger & Piepho 2011 Crop Science 51 Table 2 with blocks: 12.77, 11.09, 0.65, 4.23."""
    values = estimate_ability(tobacco(), variances_by="reml").variances.values
    told = [values[name] for name in ("gca", "sca", "reciprocal", "residual")]
    assert [round(value, 2) for value in told] == [12.77, 11.09, 0.65, 4.23]


@needs_checks
def test_tobacco_without_blocks_gives_variances_and_likelihood_of_slow_dense_code() -> None:
    data = outside("hayman.tobacco.csv", year="1951")
    matings = arrange_matings(data, "female", "male", "day", None, "diallel", 1)
    values = estimate_ability(matings, variances_by="reml").variances.values
    told = [values[name] for name in ("gca", "sca", "reciprocal", "residual")]
    assert told == pytest.approx([12.767584, 11.110855, 0.66026642, 4.1846486], rel=1e-5)
    names = [f"x{at}" for at in range(len(matings.crosses))]
    columns: Columns = {"y": list(matings.response)}
    random = []
    for source, part in code_parts(matings).items():
        columns[source] = [names[at] for at in matings.cross]
        random.append(RandomTerm((source,), Relationship(tuple(names), part @ part.T)))
    assert fit_mixed_model(columns, Model("y", (), tuple(random))).reml_log_likelihood == pytest.approx(
        -329.35375, abs=6e-6
    )


def test_direction_of_a_cross_is_told_apart_only_where_both_were_made() -> None:
    assert np.all([one.value is not None for one in estimate_ability(six(2)).sca])
    assert estimate_ability(six(2)).reciprocal == ()


def test_pine_gives_the_published_heritabilities_of_a_tree() -> None:
    """Becker 1984 p.85: 4 s2m / s2p and so on, trees not inbred, variance of trees within plots 1.109."""
    told = {"gca_mother": 0.0209, "gca_father": 0.120, "sca": 0.137, "residual": 0.2004}
    matings = arrange_matings(pine(), "line", "tester", "length", "rep")
    variances = Variances({name: told.get(name) for name in NAMES}, "moments", {}, (), "")
    found = estimate_genetics(matings, variances, 0.0, plant_variance=1.109)
    assert found.heritability["father"] == pytest.approx(0.346, abs=5e-4)
    assert found.heritability["mother"] == pytest.approx(0.060, abs=5e-4)
    assert found.heritability["both"] == pytest.approx(0.203, abs=5e-4)
    assert found.dominance == pytest.approx(4 * 0.137)


def test_chickens_give_the_published_heritabilities() -> None:
    """Becker 1984: sires 776.8, dams 1096, within 5524 (no interaction in that design): 0.42 and 0.59."""
    told = {"gca_mother": 1096.0, "gca_father": 776.8, "sca": 0.0, "residual": 5524.0}
    matings = arrange_matings(pine(), "line", "tester", "length", "rep")
    found = estimate_genetics(matings, Variances({n: told.get(n) for n in NAMES}, "moments", {}, (), ""), 0.0)
    assert found.heritability["father"] == pytest.approx(0.42, abs=5e-3)
    assert found.heritability["mother"] == pytest.approx(0.59, abs=5e-3)
