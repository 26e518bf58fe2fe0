"""What must hold for every fit of a mixed model, whatever the data?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.analysis import mixed_models
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Fit, Model, RandomTerm, Relationship, Residual
from tests.twin_agreement import list_differences

MODEL = Model("y", (("site",),), (RandomTerm(("line",)), RandomTerm(("site", "rep"))), genotype="line")


@pytest.fixture(autouse=True, scope="module", params=["dense", "sparse"])
def way(request: pytest.FixtureRequest) -> Iterator[None]:
    """Every test here, once by the dense way and once by the sparse one."""
    with pytest.MonkeyPatch.context() as patch:
        if request.param == "sparse":
            patch.setattr(mixed_models, "SMALL_SIZE", -1)
        yield


@st.composite
def trials(draw: st.DrawFn) -> dict[str, list[object]]:
    """A small trial with real differences and some plots missing."""
    dice = np.random.default_rng(draw(st.integers(0, 10_000)))
    lines, sites = draw(st.integers(4, 7)), draw(st.integers(2, 3))
    effects = dice.normal(0, draw(st.floats(0.0, 3.0)), lines)
    data: dict[str, list[object]] = {"line": [], "site": [], "rep": [], "y": []}
    for site in range(sites):
        for rep in range(2):
            for line in range(lines):
                gone = dice.random() < 0.1
                for name, value in (("line", f"L{line}"), ("site", f"S{site}"), ("rep", f"R{rep}")):
                    data[name].append(value)
                data["y"].append(None if gone else 5.0 + site + effects[line] + dice.normal())
    return data


def changed(data: dict[str, list[object]], scale: float, shift: float) -> dict[str, list[object]]:
    return {**data, "y": [None if y is None else scale * float(str(y)) + shift for y in data["y"]]}


def numbers(fit: Fit) -> list[float]:
    return [
        *(line.value for line in fit.variances),
        *(line.estimate for line in fit.fixed[1:]),
        *(line.value for line in fit.random),
        *(line.se for line in fit.random),
    ]


@settings(max_examples=25, deadline=None)
@given(trials(), st.floats(-1000, 1000))
def test_a_constant_added_to_the_response_changes_only_the_level(data: dict[str, list[object]], shift: float) -> None:
    one, two = fit_mixed_model(data, MODEL), fit_mixed_model(changed(data, 1.0, shift), MODEL)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-6)
    assert two.fixed[0].estimate == pytest.approx(one.fixed[0].estimate + shift, abs=1e-4)
    assert numbers(two) == pytest.approx(numbers(one), rel=1e-4, abs=1e-5)


@settings(max_examples=25, deadline=None)
@given(trials(), st.floats(0.01, 1000))
def test_a_response_times_c_has_variances_times_c_squared(data: dict[str, list[object]], c: float) -> None:
    one, two = fit_mixed_model(data, MODEL), fit_mixed_model(changed(data, c, 0.0), MODEL)
    n, p = one.n, len(one.fixed)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood - (n - p) * np.log(c), abs=1e-6)
    wanted = [line.value * c * c for line in one.variances]
    assert [line.value for line in two.variances] == pytest.approx(wanted, rel=1e-4, abs=1e-5 * c * c)
    assert [line.value for line in two.random] == pytest.approx([line.value * c for line in one.random], abs=1e-4 * c)
    if one.heritability and one.heritability.cullis is not None:
        assert two.heritability is not None
        assert two.heritability.cullis == pytest.approx(one.heritability.cullis, abs=1e-4)


@settings(max_examples=25, deadline=None)
@given(trials(), st.permutations(range(7)), st.randoms(use_true_random=False))
def test_other_names_and_another_order_of_records_change_nothing(
    data: dict[str, list[object]], names: list[int], dice: object
) -> None:
    order = list(range(len(data["y"])))
    dice.shuffle(order)  # type: ignore[attr-defined]
    other = {name: [values[k] for k in order] for name, values in data.items()}
    other["line"] = [f"N{names[int(str(line)[1])]}" for line in other["line"]]
    one, two = fit_mixed_model(data, MODEL), fit_mixed_model(other, MODEL)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-6)
    renamed = {f"N{names[int(line.level[1])]}": line.value for line in one.random if line.term == "line"}
    found = {line.level: line.value for line in two.random if line.term == "line"}
    assert found == pytest.approx(renamed, abs=1e-5)
    assert [line.value for line in two.variances] == pytest.approx([line.value for line in one.variances], abs=1e-5)


@settings(max_examples=15, deadline=None)
@given(trials())
def test_an_identity_relationship_is_no_relationship(data: dict[str, list[object]]) -> None:
    names = tuple(sorted({str(line) for line in data["line"]}))
    plain = Model("y", (("site",),), (RandomTerm(("line",)),))
    related = Model("y", (("site",),), (RandomTerm(("line",), Relationship(names, np.eye(len(names)))),))
    one, two = fit_mixed_model(data, plain), fit_mixed_model(data, related)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-7)
    assert [line.value for line in two.variances] == pytest.approx([line.value for line in one.variances], abs=1e-5)


@settings(max_examples=25, deadline=None)
@given(trials())
def test_reliability_lies_between_0_and_1_and_a_longer_model_is_never_less_likely(
    data: dict[str, list[object]],
) -> None:
    fit = fit_mixed_model(data, MODEL)
    assert all(-1e-9 <= line.reliability <= 1 for line in fit.random if line.reliability is not None)
    shorter = fit_mixed_model(data, Model("y", (("site",),), (RandomTerm(("line",)),)))
    assert fit.reml_log_likelihood >= shorter.reml_log_likelihood - 1e-8


@settings(max_examples=12, deadline=None)
@given(trials(), st.floats(0.01, 100), st.integers(0, 1_000))
def test_weights_times_c_are_a_residual_variance_times_c(data: dict[str, list[object]], c: float, seed: int) -> None:
    weights = np.random.default_rng(seed).uniform(0.5, 2.0, len(data["y"]))
    model = replace(MODEL, weights="w")
    one = fit_mixed_model({**data, "w": weights.tolist()}, model)
    two = fit_mixed_model({**data, "w": (c * weights).tolist()}, model)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-6)
    assert two.variance("residual") == pytest.approx(c * one.variance("residual"), rel=1e-4)
    assert two.variance("line") == pytest.approx(one.variance("line"), rel=1e-4, abs=1e-5)
    assert [line.value for line in two.random] == pytest.approx([line.value for line in one.random], abs=1e-4)


@settings(max_examples=12, deadline=None)
@given(trials(), st.integers(1, 3))
def test_a_record_without_a_value_changes_nothing_and_a_line_without_records_is_predicted_at_0(
    data: dict[str, list[object]], more: int
) -> None:
    names = tuple(sorted({str(line) for line in data["line"]}))
    related = Relationship((*names, "new"), np.eye(len(names) + 1))
    model = replace(MODEL, random=(RandomTerm(("line",), related), *MODEL.random[1:]))
    longer = {name: [*values, *([None if name == "y" else values[0]] * more)] for name, values in data.items()}
    longer["line"][-1] = "new"
    one, two = fit_mixed_model(data, MODEL), fit_mixed_model(longer, model)
    assert (two.n, two.n_dropped) == (one.n, one.n_dropped + more)
    assert two.reml_log_likelihood == pytest.approx(one.reml_log_likelihood, abs=1e-6)
    found = {(line.term, line.level): line for line in two.random}
    new = found.pop(("line", "new"))
    assert new.value == pytest.approx(0.0, abs=1e-9)
    assert new.se == pytest.approx(two.variance("line") ** 0.5, rel=1e-6)
    wanted = {(line.term, line.level): line.value for line in one.random}
    assert {key: line.value for key, line in found.items()} == pytest.approx(wanted, abs=1e-5)


TERMS = (
    RandomTerm(("line",)),
    RandomTerm(("line", "site")),
    RandomTerm(("site", "rep")),
    RandomTerm(("site", "line"), variance_by="site"),
)


@settings(max_examples=12, deadline=None)
@given(trials(), st.sets(st.sampled_from(TERMS), min_size=1), st.booleans(), st.booleans(), st.integers(0, 1_000))
def test_a_fit_of_any_plain_model_is_what_the_slow_twin_says_and_at_a_top(
    data: dict[str, list[object]], terms: set[RandomTerm], by_site: bool, weighted: bool, seed: int
) -> None:
    # The interaction of line and site in two ways is one too many.
    chosen = [term for term in TERMS if term in terms and not (term.variance_by and TERMS[1] in terms)]
    model = Model("y", (("site",),), tuple(chosen), Residual("site" if by_site else None))
    if weighted:
        model = replace(model, weights="w")
        data["w"] = np.random.default_rng(seed).uniform(0.5, 2.0, len(data["y"])).tolist()
    assert list_differences(data, model, fit_mixed_model(data, model)) == []
