"""Does a model that asks too much of the records end in a right answer or in a sentence that names what is wrong?

Right answers are those of lme4 1.1-31 (lmer, REML) on the same numbers; docs/mixed-models.md holds the list.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis import mixed_models
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Relationship, Residual

Data = dict[str, list[object]]
LINE, CELL = RandomTerm(("line",)), RandomTerm(("line", "site"))
SITE, BOTH = (("site",),), (("site",), ("line",))


def trial(sites: int = 3, lines: int = 6, reps: int = 2) -> Data:
    dice = np.random.default_rng(11)
    line, site, rep = (a.ravel() for a in np.meshgrid(range(lines), range(sites), range(reps), indexing="ij"))
    y = 10 + dice.normal(size=lines)[line] + site + dice.normal(0, 0.7, (lines, sites))[line, site]
    return {
        "line": [f"L{at}" for at in line],
        "site": [f"S{at}" for at in site],
        "rep": [f"r{at}" for at in rep],
        "plot": [f"p{at}" for at in range(len(line))],
        "x": dice.normal(size=len(line)).tolist(),
        "y": (y + dice.normal(size=len(line))).tolist(),
    }


def keep(data: Data, wanted: Callable[[str, str], bool]) -> Data:
    at = [k for k, cell in enumerate(zip(data["line"], data["site"], strict=True)) if wanted(*map(str, cell))]
    return {name: [values[k] for k in at] for name, values in data.items()}


def apart() -> Data:
    """Lines 0-2 at places 0 and 1 only, lines 3-5 at places 2 and 3 only."""
    return keep(trial(4), lambda line, site: (line < "L3") == (site < "S2"))


def nested() -> Data:
    """Two lines at each place, and nowhere else."""
    return keep(trial(), lambda line, site: int(line[1]) // 2 == int(site[1]))


def changed(data: Data | None = None, **columns: Callable[[int], object]) -> Data:
    data = data or trial()
    return {**data, **{name: [value(at) for at in range(len(data["y"]))] for name, value in columns.items()}}


def y_of(at: int) -> float:
    return float(str(trial()["y"][at]))


def first_only(name: str, value: object) -> Data:
    return {**trial(), name: [value, *trial()[name][1:]]}


def related(matrix: np.ndarray) -> RandomTerm:
    return RandomTerm(("line",), Relationship(tuple(f"L{at}" for at in range(6)), matrix))


REFUSED = {
    "two columns say the same": (
        changed(year=lambda at: "Y" + str(trial()["site"][at])),
        Model("y", (("site",), ("year",)), (LINE,)),
        "year YS1, year YS2 cannot be told from the terms before",
    ),
    "a random term says the same as a fixed one": (
        changed(year=lambda at: "Y" + str(trial()["site"][at])),
        Model("y", SITE, (LINE, RandomTerm(("year",)))),
        "variance of year cannot be told from the fixed terms",
    ),
    "two random terms say the same": (
        changed(entry=lambda at: "E" + str(trial()["line"][at])),
        Model("y", SITE, (LINE, RandomTerm(("entry",)))),
        "variance of line and entry cannot be told from each other",
    ),
    "one random term in two orders": (
        trial(),
        Model("y", SITE, (CELL, RandomTerm(("site", "line")))),
        "variance of line:site and site:line cannot be told from each other",
    ),
    "one fixed term in two orders": (trial(), Model("y", (("line", "site"), ("site", "line"))), "stands twice"),
    "one term fixed and random": (trial(), Model("y", BOTH, (LINE,)), "line cannot be told from the fixed terms"),
    "environments without common entries": (
        apart(),
        Model("y", BOTH, (RandomTerm(("site", "rep")),)),
        "2 groups that share nothing.*S0, S1 with L0, L1, L2; S2, S3 with L3, L4, L5",
    ),
    "each place its own entries, both fixed": (nested(), Model("y", BOTH), "3 groups.*S0 with L0, L1; S1 with L2, L3;"),
    "entries nested in places, with their interaction": (
        nested(),
        Model("y", SITE, (LINE, CELL)),
        "variance of line and line:site cannot be told from each other",
    ),
    "a constant response": (changed(y=lambda at: 0.1 + 0.2), Model("y", SITE, (LINE,)), "response wholly"),
    "a response constant within entries": (
        changed(y=lambda at: float(str(trial()["line"][at])[1])),
        Model("y", (), (LINE,)),
        "residual falls to 0: the model explains those records wholly",
    ),
    "a common level that swallows all digits": (
        changed(y=lambda at: y_of(at) + 1e14),
        Model("y", SITE, (LINE,)),
        "response wholly",
    ),
    "a level for each record, random": (trial(), Model("y", (), (RandomTerm(("plot",)),)), "plot and residual"),
    "a level for each record, fixed": (trial(), Model("y", (("plot",),)), "36 records leave nothing"),
    "a cell for each record, random": (
        trial(),
        Model("y", SITE, (LINE, RandomTerm(("line", "site", "rep")))),
        "line:site:rep and residual cannot be told from each other",
    ),
    "weights all 0": (
        changed(w=lambda at: 0.0),
        Model("y", SITE, weights="w"),
        "'w', record 1: a weight must be above",
    ),
    "weights beyond size": (
        changed(w=lambda at: 1e-300),
        Model("y", weights="w"),
        "'w', record 1: 1e-300 is too small",
    ),
    "an infinite weight": (changed(w=lambda at: np.inf), Model("y", weights="w"), "'w', record 1: inf is not finite"),
    "the response as weights": (trial(), Model("y", SITE, weights="y"), "'y' is the response; it cannot be"),
    "the response as a term": (trial(), Model("y", (("y",),), numeric=("y",)), "'y' is the response; it cannot be"),
    "huge units": (changed(y=lambda at: 1e200 * y_of(at)), Model("y", SITE), "is too large. Give .* another unit"),
    "tiny units": (changed(y=lambda at: 1e-200 * y_of(at)), Model("y", SITE), "is too small. Give .* another unit"),
    "one record": (keep(trial(1, 1, 1), lambda line, site: True), Model("y"), "1 record leaves nothing"),
    "two records, two levels": (
        trial(1, 1, 2),
        Model("y", (), (RandomTerm(("rep",)),)),
        "rep and residual cannot be told from each other",
    ),
    "no record": ({name: [] for name in trial()}, Model("y"), "No record has a value of 'y'"),
    "no response at all": (changed(y=lambda at: None), Model("y"), "No record has a value of 'y'"),
    "a comma for a point": (first_only("y", "1,5"), Model("y"), "'y', record 1: '1,5' is not a number"),
    "infinity": (first_only("y", float("inf")), Model("y"), "'y', record 1: inf is not finite"),
    "a missing class": (
        first_only("line", float("nan")),
        Model("y", (), (LINE,)),
        "'line', record 1: the class is missing",
    ),
    "a missing number": (first_only("x", None), Model("y", (("x",),), numeric=("x",)), "'x', record 1: the value is"),
    "a number that does not vary": (
        changed(x=lambda at: 2.0),
        Model("y", (("x",),), numeric=("x",)),
        "x cannot be told from the terms before",
    ),
    "a number twice in two units": (
        changed(x2=lambda at: 3 * float(str(trial()["x"][at])) + 1),
        Model("y", (("x",), ("x2",)), numeric=("x", "x2")),
        "x2 cannot be told from the terms before",
    ),
    "one place only, fixed": (trial(1), Model("y", SITE, (LINE,)), "'site' has one level only"),
    "one place only, random": (trial(1), Model("y", (), (LINE, RandomTerm(("site",)))), "site cannot be told from the"),
    "a residual for each record": (
        trial(),
        Model("y", residual=Residual("plot")),
        r"plot p0 has one record only.*\(so have 35 others\)",
    ),
    "a number alone as random term": (trial(), Model("y", SITE, (RandomTerm(("x",)),), numeric=("x",)), "class column"),
    "an empty cell of a fixed interaction": (
        keep(trial(), lambda line, site: (line, site) != ("L1", "S1")),
        Model("y", (*BOTH, ("site", "line"))),
        "no record has site:line S1:L1",
    ),
    "a known variance below 0": (trial(), Model("y", SITE, (RandomTerm(("line",), variance=-1.0),)), "below 0"),
    "a known variance without end": (
        trial(),
        Model("y", SITE, (RandomTerm(("line",), variance=float("inf")),)),
        "known variance of 'line' must be a number",
    ),
    "a known residual of 0": (trial(), Model("y", SITE, residual=Residual(variance=0.0)), "the residual above 0"),
    "a relationship of nought": (trial(), Model("y", SITE, (related(np.zeros((6, 6))),)), "told from the fixed terms"),
    "all entries the same by relationship": (
        trial(),
        Model("y", SITE, (related(np.ones((6, 6))),)),
        "variance of line cannot be told from the fixed terms",
    ),
    "columns of different length": (
        {**trial(), "line": trial()["line"][:-1]},
        Model("y", SITE, (LINE,)),
        "'line' has another number of records than 'y'",
    ),
    "a column that is not there": (trial(), Model("y", (("year",),)), "names column 'year'"),
}


@pytest.mark.parametrize("case", REFUSED, ids=str)
@pytest.mark.filterwarnings("error")
def test_model_when_it_asks_too_much_then_refused_naming_what(case: str) -> None:
    data, model, told = REFUSED[case]
    with pytest.raises(InputRefused, match=told):
        fit_mixed_model(data, model)


def test_residual_of_its_own_for_one_record_then_refused_naming_its_group() -> None:
    data = keep(trial(), lambda line, site: site != "S2")
    last = keep(trial(), lambda line, site: (line, site) == ("L5", "S2"))
    data = {name: [*values, last[name][0]] for name, values in data.items()}
    with pytest.raises(
        InputRefused, match="site S2 has one record only, so a residual variance of its own cannot be told"
    ):
        fit_mixed_model(data, Model("y", SITE, (LINE,), Residual("site")))


# Log-likelihood and variances by lme4 1.1-31: lmer(y ~ site + (1 | line) [+ (1 | line:site)], REML).
RIGHT = {
    "environments without common entries, entries random": (
        apart(),
        Model("y", SITE, (LINE,)),
        -36.5336788,
        (0.0511243, 1.540662),
    ),
    "each place its own entries, random": (nested(), Model("y", SITE, (LINE,)), -15.3716227, (0.6220822, 0.8268667)),
    "a variance that comes out as 0": (trial(), Model("y", SITE, (LINE, CELL)), -59.2725936, (0.8375926, 0, 1.3395973)),
    "weights from 1e-12 to 1e12": (
        changed(w=lambda at: 10.0 ** (at % 25 - 12)),
        Model("y", SITE, (LINE,), weights="w"),
        -513.2502,
        (0, 935798339.0),
    ),
    "a response of yes and no": (
        changed(y=lambda at: at % 2 == 0),
        Model("y", SITE, (LINE,)),
        -29.1141623,
        (0, 0.272727273),
    ),
    "a variance 1e5 times the residual": (
        changed(
            trial(3, 6, 3),
            y=lambda at: 300 * [0.3, -1.1, 0.7, 1.9, -0.4, -1.4][at // 9] + float(str(trial(3, 6, 3)["y"][at])),
        ),
        Model("y", SITE, (LINE,)),
        -119.507272,
        (135455.5, 1.402003),
    ),
}


@pytest.mark.parametrize("case", RIGHT, ids=str)
@pytest.mark.filterwarnings("error")
def test_model_when_it_looks_nasty_but_can_be_fitted_then_as_by_a_general_program(case: str) -> None:
    data, model, log_likelihood, variances = RIGHT[case]
    fit = fit_mixed_model(data, model)
    assert fit.converged
    assert fit.reml_log_likelihood == pytest.approx(log_likelihood, abs=1e-5)
    assert [line.value for line in fit.variances] == pytest.approx(variances, rel=1e-5, abs=1e-12)


@pytest.mark.parametrize("unit", [1e-9, 1e9, -1.0])
def test_fit_when_the_unit_changes_then_the_answer_changes_with_it(unit: float) -> None:
    model = Model("y", SITE, (LINE,))
    one, other = (fit_mixed_model(changed(y=lambda at, u=u: u * y_of(at)), model) for u in (1.0, unit))
    assert [line.value / unit**2 for line in other.variances] == pytest.approx(
        [v.value for v in one.variances], rel=1e-7
    )
    assert [line.value / unit for line in other.random] == pytest.approx([v.value for v in one.random], rel=1e-6)


def test_fit_when_a_common_level_is_a_billion_times_the_spread_then_the_same() -> None:
    model = Model("y", SITE, (LINE,))
    one, other = (fit_mixed_model(changed(y=lambda at, c=c: y_of(at) + c), model) for c in (0.0, 1e9))
    assert [line.value for line in other.variances] == pytest.approx([line.value for line in one.variances], rel=1e-5)


def test_fit_when_numbers_are_years_and_their_squares_then_as_by_a_general_program() -> None:
    """R 4.2.2, lm(y ~ I(x - 2020) + I((x - 2020)^2)): residual mean square and curvature."""
    data = changed(x=lambda at: 2020 + at % 4, x2=lambda at: (2020 + at % 4) ** 2)
    fit = fit_mixed_model(data, Model("y", (("x",), ("x2",)), numeric=("x", "x2")))
    assert fit.variance("residual") == pytest.approx(2.91265377, rel=1e-7)
    assert fit.fixed[2].estimate == pytest.approx(-0.247372985, rel=1e-6)


def test_fit_when_a_number_comes_as_text_or_with_spaces_then_read() -> None:
    model = Model("y", SITE, (LINE,))
    plain = fit_mixed_model(trial(), model)
    texts = changed(y=lambda at: f" {y_of(at)!r} ", line=lambda at: f"{trial()['line'][at]} ")
    assert fit_mixed_model(texts, model).variances == plain.variances


def test_fit_when_a_relationship_is_tiny_then_its_variance_is_large_and_all_else_the_same() -> None:
    plain = fit_mixed_model(trial(), Model("y", SITE, (LINE,)))
    tiny = fit_mixed_model(trial(), Model("y", SITE, (related(1e-12 * np.eye(6)),)))
    assert tiny.variance("line") == pytest.approx(1e12 * plain.variance("line"), rel=1e-6)
    assert tiny.variance("residual") == pytest.approx(plain.variance("residual"), rel=1e-6)


@pytest.mark.parametrize("case", REFUSED, ids=str)
def test_model_when_it_asks_too_much_then_refused_the_sparse_way_too(
    case: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mixed_models, "SMALL_SIZE", 0)
    monkeypatch.setattr(mixed_models, "SMALL_RECORDS", 0)
    data, model, told = REFUSED[case]
    with pytest.raises(InputRefused, match=told):
        fit_mixed_model(data, model)


@pytest.mark.parametrize("case", RIGHT, ids=str)
def test_model_when_it_can_be_fitted_then_the_sparse_way_too(case: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mixed_models, "SMALL_SIZE", 0)
    monkeypatch.setattr(mixed_models, "SMALL_RECORDS", 0)
    data, model, log_likelihood, variances = RIGHT[case]
    fit = fit_mixed_model(data, model)
    assert fit.reml_log_likelihood == pytest.approx(log_likelihood, abs=1e-5)
    assert [line.value for line in fit.variances] == pytest.approx(variances, rel=1e-5, abs=1e-12)
