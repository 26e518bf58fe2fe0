"""Is a plot's value split into entry, ground and what is left over, and is a planted ground found again?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.analysis.mixed_models import fit_mixed_model
from firstsilk.science.analysis.models import Model, RandomTerm, Surface
from firstsilk.work.analysis import ground
from firstsilk.work.analysis.ground import find_ground

ROWS, COLS, REPS = 10, 8, 2


def planted(seed: int = 4, size: float = 1.0) -> dict[str, list]:
    """40 entries in two replicates of 5 field rows; the ground falls along rows and waves along columns."""
    dice = np.random.default_rng(seed)
    worth = dice.normal(0, 400, 40)
    field: dict[str, list] = {key: [] for key in ("values", "entries", "reps", "rows", "cols", "ground", "worth")}
    for rep in range(REPS):
        for at, entry in enumerate(dice.permutation(40)):
            row, col = rep * 5 + at // COLS + 1, at % COLS + 1
            under = size * (900 * np.sin(col / 2) - 150 * row)
            field["values"].append(8000 + worth[entry] + under + dice.normal(0, 200))
            field["entries"].append(f"E{entry:02d}")
            field["reps"].append(str(rep + 1))
            field["rows"].append(row)
            field["cols"].append(col)
            field["ground"].append(under)
            field["worth"].append(worth[entry])
    return field


def split(field: dict[str, list], **more):
    return find_ground(field["values"], field["entries"], field["reps"], field["rows"], field["cols"], **more)


def test_a_planted_ground_is_found_and_taken_out_of_what_is_left() -> None:
    field = planted()
    found = split(field)
    assert np.corrcoef(found.ground, field["ground"])[0, 1] > 0.95
    assert abs(np.corrcoef(found.left, field["ground"])[0, 1]) < 0.15
    assert found.left_sd < 250
    assert "field column" in found.model


def test_entry_means_are_better_with_the_ground_taken_out_and_come_with_their_errors() -> None:
    field = planted()
    found = split(field, entries_fixed=True)
    truth = dict(zip(field["entries"], field["worth"], strict=True))
    plain = {
        name: np.mean([v for v, e in zip(field["values"], field["entries"], strict=True) if e == name])
        for name in truth
    }
    names = sorted(truth)
    adjusted = {one.entry: one.value for one in found.means}
    assert sorted(adjusted) == names
    told = [np.corrcoef([truth[n] for n in names], [means[n] for n in names])[0, 1] for means in (adjusted, plain)]
    assert told[0] > 0.9 > told[1]
    off = np.array([adjusted[n] - truth[n] for n in names])
    assert found.mean_variance == pytest.approx(np.var(off, ddof=1), rel=0.5)


@pytest.mark.parametrize("with_hill", [False, True])
def test_what_is_left_of_value_ground_and_rest_is_the_engine_s_prediction_of_the_entry(with_hill: bool) -> None:
    field = planted(5)
    if with_hill:
        add_hill(field)
    found = split(field)
    assert np.mean(found.ground) == pytest.approx(0, abs=1e-6)
    own = np.array(field["values"]) - found.ground - found.left
    data = {"value": field["values"], "entry": field["entries"], "replicate": field["reps"]}
    data |= {"row": field["rows"], "col": field["cols"]}
    data |= {"field_row": [str(r) for r in field["rows"]], "field_col": [str(c) for c in field["cols"]]}
    terms = tuple(RandomTerm((name,)) for name in ("entry", "replicate", "field_row", "field_col"))
    model = Model("value", (), terms)
    if with_hill:
        model = Model("value", (), terms, numeric=("row", "col"), surfaces=(Surface(("row", "col"), (7, 6)),))
    assert ("smooth surface" in found.model) == with_hill
    fit = fit_mixed_model(data, model)
    predicted = {line.level: line.value for line in fit.random if line.term == "entry"}
    worth = np.array([predicted[entry] for entry in field["entries"]])
    assert own - own.mean() == pytest.approx(worth - worth.mean(), abs=1e-3)
    assert found.left == pytest.approx(fit.records.residual, abs=1e-3)


def add_hill(field: dict[str, list]) -> list[float]:
    """A hill in one half of the field: rows and columns do not add up to it."""
    places = zip(field["rows"], field["cols"], strict=True)
    hill = [1200 * np.exp(-(((r - 4) / 2.5) ** 2) - ((c - 5) / 2) ** 2) for r, c in places]
    field["values"] = [value + high for value, high in zip(field["values"], hill, strict=True)]
    return hill


@pytest.mark.parametrize("seed", [6, 7, 8])
def test_a_hill_within_the_field_is_seen_by_the_surface_better_than_by_rows_and_columns(seed: int, monkeypatch) -> None:
    field = planted(seed, 0.0)
    hill = add_hill(field)
    smooth = split(field)
    assert "smooth surface over field rows and field columns" in smooth.model
    assert "next neighbours are alike" in smooth.said[0]
    monkeypatch.setattr(ground, "_plan_surface", lambda data: None)
    seen = [np.corrcoef(found.ground, hill)[0, 1] for found in (smooth, split(field))]
    assert seen[0] > 0.8 > seen[1]


def test_where_rows_and_columns_tell_the_ground_no_surface_is_laid_and_it_is_said() -> None:
    laid = 0
    for seed in range(20):
        found = split(planted(seed))
        laid += "smooth surface" in found.model
        assert any("No smooth surface" in one for one in found.said) == ("smooth surface" not in found.model)
    assert laid <= 3


def test_means_and_map_rest_on_the_same_kind_of_ground() -> None:
    for size, high in ((1.0, False), (0.0, True)):
        field = planted(7, size)
        if high:
            add_hill(field)
        assert ("smooth" in split(field).model) == ("smooth" in split(field, entries_fixed=True).model) == high


def test_one_long_row_has_a_surface_along_it_only() -> None:
    field = planted(4, 0.0)
    field["rows"], field["cols"] = [1] * 80, list(range(1, 81))
    wave = [700 * np.sin(col / 6) for col in field["cols"]]
    field["values"] = [value + high for value, high in zip(field["values"], wave, strict=True)]
    found = split(field)
    assert found.model == "entry (random) + smooth surface over field columns + replicate (random)"
    assert np.corrcoef(found.ground, wave)[0, 1] > 0.95


def test_without_a_ground_none_is_made_up() -> None:
    spreads = [split(planted(seed, 0.0)).ground_sd for seed in range(8)]
    assert np.mean(spreads) < 100


def test_plots_without_a_value_have_no_parts() -> None:
    field = planted()
    field["values"][3] = None
    found = split(field)
    assert (found.ground[3], found.left[3]) == (None, None)
    assert all(value is not None for at, value in enumerate(found.left) if at != 3)


def test_without_places_replicates_alone_are_the_ground_and_it_is_said() -> None:
    field = planted()
    field["rows"][0] = None
    found = split(field)
    assert found.model == "entry (random) + replicate (random)"
    assert "told by replicates" in found.said[0]


def test_a_replicate_that_is_a_field_row_is_taken_once() -> None:
    field = planted()
    field["rows"] = [int(rep) for rep in field["reps"]]
    field["cols"] = [at % 40 + 1 for at in range(80)]
    assert "field row" not in split(field).model


def test_a_trial_without_a_second_plot_of_any_entry_says_that_entries_are_left_over() -> None:
    field = {key: values[:40] for key, values in planted().items()}
    found = split(field)
    assert "entry" not in found.model
    assert any("no entry stands twice" in one for one in found.said)


@pytest.mark.parametrize("values", [[], [None, None]])
def test_no_value_at_all_is_refused(values) -> None:
    n = len(values)
    with pytest.raises(InputRefused, match="No plot tells a value"):
        find_ground(values, ["A"] * n, ["1"] * n, [1] * n, list(range(n)))
