"""Do the pictures show every value they are given, without Django, and without names on top of each other?"""

from __future__ import annotations

import re
import subprocess
import sys
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from firstsilk.faces.pictures.field import (
    VIEWS,
    FieldCell,
    picture_field,
    plan_scale,
    tell_cells,
    write_figure,
)
from firstsilk.faces.pictures.intervals import KINDS, EntryInterval, pick_rows, picture_intervals, tell_intervals
from firstsilk.faces.pictures.labels import LETTER_PX, LINE_PX, Anchor, place_labels, spread_names
from firstsilk.faces.pictures.lags import picture_lags, tell_lags
from firstsilk.faces.pictures.look import SCHEMA, choose_fill, complete, draw_svg, limit_classes, round_up
from firstsilk.faces.pictures.places import picture_best_places, tell_best_places
from firstsilk.faces.pictures.responses import picture_interaction, picture_lines, tell_responses
from firstsilk.science.analysis.axes import find_ammi_axes
from firstsilk.science.analysis.best_places import find_best_places
from firstsilk.science.analysis.lags import correlate_lags
from firstsilk.science.analysis.stability import describe_stability
from firstsilk.science.analysis.two_way import TwoWayTable

PROJECT = Path(__file__).resolve().parents[2]


def field(n_rows: int = 6, n_cols: int = 8, seed: int = 1) -> list[FieldCell]:
    dice = np.random.default_rng(seed)
    cells = []
    for at in range(n_rows * n_cols):
        row, col = at // n_cols + 1, at % n_cols + 1
        parts = (
            (None, None, None)
            if at == 5
            else (float(dice.normal(8000, 500)), 100.0 - 30 * row, float(dice.normal(0, 200)))
        )
        cells.append(FieldCell(at + 1, row, col, f"E<{at}>", at % 7 == 0, *parts))
    return cells


def table_of(g: int = 12, e: int = 5, seed: int = 2) -> TwoWayTable:
    dice = np.random.default_rng(seed)
    means = 8000 + dice.normal(0, 400, (g, 1)) + dice.normal(0, 900, e) + dice.normal(0, 300, (g, e))
    names = tuple(f"Entry {i:02d}" for i in range(g)), tuple(f"Site {j}" for j in range(e))
    return TwoWayTable(*names, means, np.zeros((g, e), dtype=bool))


def texts(svg: str) -> str:
    return " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", svg))


@pytest.mark.parametrize("view", VIEWS)
def test_field_has_a_cell_for_every_plot_its_figure_and_a_legend_with_unit(view: str) -> None:
    cells = field()
    svg = draw_svg(picture_field(cells, view, "kg/ha"))
    said = re.findall(r'aria-label="(Plot [^"]*)"', svg)
    assert len(said) == len(cells)
    assert "kg/ha" in texts(svg)
    for one in cells:
        if one.value(view) is not None:
            assert write_figure(one.value(view), 0, view != "measured") in texts(svg)
    assert any("no value" in one for one in said)


def test_narrow_cells_carry_triangles_in_the_outer_tenths_instead_of_figures() -> None:
    cells = field(10, 50)
    told = tell_cells(cells, "left", 0)
    values = sorted(one.left for one in cells if one.left is not None)
    above = [one for one in told if one["outer"] == "above"]
    below = [one for one in told if one["outer"] == "below"]
    assert len(above) == len(below) == pytest.approx(len(values) / 10, abs=2)
    assert min(one["value"] for one in above) > max(one["value"] for one in below)
    svg = draw_svg(picture_field(cells, "left", "kg/ha"))
    assert len(re.findall(r"<path [^>]*fill=\"#(?:1b1b1b|ffffff)\"", svg)) >= len(above) + len(below)
    small = draw_svg(picture_field(cells, "left", "kg/ha", wide_px=230))
    assert "Plot 1," in svg
    assert "Plot 1," not in small
    assert len(small) < 0.7 * len(svg)


def test_ground_and_left_share_their_classes_and_0_is_in_the_middle_one() -> None:
    cells = field()
    ground, left = plan_scale(cells, "ground"), plan_scale(cells, "left")
    assert ground == left
    assert ground.fill(0.0) == ground.fills[3]
    assert ground.limits == tuple(-one for one in ground.limits[::-1])


@pytest.mark.parametrize(("low", "high"), [(0.61, 0.97), (6720, 11930), (-3, 40), (22.1, 22.4), (5, 5), (0, 0)])
def test_class_limits_are_round_and_reach_over_the_values(low: float, high: float) -> None:
    limits = limit_classes(low, high, both_ways=False)
    steps = np.diff(limits)
    assert len(limits) == 6
    assert steps == pytest.approx([steps[0]] * 5)
    assert steps[0] == pytest.approx(round_up(steps[0]))
    assert limits[0] - steps[0] <= low
    assert high <= limits[-1] + steps[0]
    fills = "abcdefg"
    assert choose_fill(low, limits, fills) <= choose_fill(high, limits, fills)


def test_figures_have_their_sign_and_no_nought_has_one() -> None:
    assert [write_figure(one, 0, True) for one in (12.4, -1234.5, 0.2, -0.2)] == ["+12", "−1,234", "0", "0"]
    assert write_figure(-0.004, 2, True) == "0.00"
    assert write_figure(1234.5, 1, False) == "1,234.5"


def test_lags_show_each_correlation_with_its_pairs_and_say_the_neighbours() -> None:
    dice = np.random.default_rng(5)
    rows, cols = (grid.ravel() + 1 for grid in np.indices((12, 10)))
    lags = correlate_lags(rows.tolist(), cols.tolist(), (rows * 0.5 + dice.normal(0, 1, rows.size)).tolist())
    shown = texts(draw_svg(picture_lags(lags)))
    for r in range(lags.correlation.shape[0]):
        for c in range(lags.correlation.shape[1]):
            assert f"{lags.pairs[r, c]:,}" in shown
            if r or c:
                assert write_figure(float(lags.correlation[r, c]), 2, True) in shown
    said = " ".join(tell_lags(lags))
    assert f"{lags.along_rows:+.2f}" in said
    assert "part of the ground is not in the model" in said
    noise = correlate_lags(rows.tolist(), cols.tolist(), dice.normal(size=rows.size).tolist())
    assert "no correlation that chance does not give" in " ".join(tell_lags(noise))


def intervals(n: int) -> list[EntryInterval]:
    rows = []
    for k in range(n):
        value, gap = 9000.0 - 40 * k, 420.0 - 40 * k
        both = (value, value - 300, value + 300, gap, gap - 300, gap + 300)
        rows.append(EntryInterval(f"EH-{k:03d}", k % 9 == 5, *both))
    return rows


def test_intervals_are_sorted_as_given_marked_by_kind_and_told() -> None:
    rows = intervals(20)
    assert [rows[k].kind for k in (0, 8, 19)] == [KINDS[0], KINDS[1], KINDS[2]]
    assert EntryInterval("A", False, 1, 0, 2, None, None, None).kind == KINDS[3]
    shown = texts(draw_svg(picture_intervals(rows, "kg/ha", "the mean of the checks")))
    places = [shown.index(one.entry) for one in rows]
    assert places == sorted(places)
    counts = [sum(one.kind == kind for one in rows) for kind in KINDS[:3]]
    said = tell_intervals(rows, "kg/ha", "the mean of the checks")
    assert f"Of 20 entries {counts[0]} lie above the mean of the checks beyond doubt, {counts[2]} below" in said[1]


def test_many_entries_are_cut_to_the_first_and_every_check() -> None:
    kept = pick_rows(intervals(200))
    assert len(kept) == 60
    assert sum(one.is_check for one in kept) == sum(one.is_check for one in intervals(200))
    assert kept[0].entry == "EH-000"


def test_best_places_name_the_best_and_every_site_and_say_who_is_best_where() -> None:
    found = find_best_places(table_of(), np.random.default_rng(1), 4000.0)
    shown = texts(draw_svg(picture_best_places(found)))
    for one in found.groups:
        assert one.entry in shown
    for name in found.environments:
        assert name in shown
    said = tell_best_places(found, "kg/ha")
    for one, sentence in zip(found.groups, said, strict=False):
        assert one.entry in sentence
        assert f"{one.chance:.2f}" in sentence
        assert all(name in sentence for name in one.environments)
    dry = tell_best_places(found, "%", less_is_better=True)
    assert not any(" above the next" in sentence for sentence in dry)


def test_an_even_second_axis_is_said_to_show_nothing_and_an_unknown_error_too() -> None:
    found = find_best_places(table_of(), np.random.default_rng(1))
    assert "no stronger than noise" in " ".join(tell_best_places(found, "kg/ha", p_second=0.4))
    assert "no stronger than noise" not in " ".join(tell_best_places(found, "kg/ha", p_second=0.01))
    assert "cannot be told without the error of a mean" in tell_best_places(found, "kg/ha")[0]


def test_a_table_of_one_pattern_is_drawn_too() -> None:
    flat = TwoWayTable(("A", "B"), ("x", "y"), np.array([[1.0, 2.0], [2.0, 4.0]]), np.zeros((2, 2), dtype=bool))
    found = find_best_places(flat, np.random.default_rng(1))
    assert "B" in texts(draw_svg(picture_best_places(found)))
    assert "One entry is best at all of them" in " ".join(tell_best_places(found, "t"))


def test_lines_and_interaction_name_what_stands_out() -> None:
    table = table_of()
    stability = describe_stability(table)
    checks = ("Entry 03",)
    shown = texts(draw_svg(picture_lines(table, stability, "kg/ha", checks)))
    steep, flat = max(stability, key=lambda one: one.slope), min(stability, key=lambda one: one.slope)
    for name in (steep.entry, flat.entry, *checks, *table.environments):
        assert name in shown
    said = " ".join(tell_responses(stability, "kg/ha"))
    assert f"{steep.entry} gains most" in said
    axes = find_ammi_axes(table)
    shown = texts(draw_svg(picture_interaction(table, axes, "kg/ha", checks)))
    outermost = table.entries[int(np.argmax(np.abs(axes.entry_scores[:, 0])))]
    assert outermost in shown
    assert all(name in shown for name in table.environments)


def test_environments_that_do_not_differ_still_give_pictures() -> None:
    means = np.array([[1.0, 1.0, 1.0], [2.0, 2.0, 2.0], [3.0, 3.0, 3.0]])
    table = TwoWayTable(("A", "B", "C"), ("x", "y", "z"), means, np.zeros((3, 3), dtype=bool))
    draw_svg(picture_lines(table, describe_stability(table), "t"))
    draw_svg(picture_interaction(table, find_ammi_axes(table), "t"))
    draw_svg(picture_best_places(find_best_places(table, np.random.default_rng(1), 0.1)))


def test_no_name_lies_on_another_or_outside() -> None:
    dice = np.random.default_rng(3)
    anchors = [Anchor(f"name {k}", *dice.uniform(20, 380, 2), *dice.normal(size=2)) for k in range(60)]
    placed = place_labels(anchors, 400, 400)
    assert 15 < len(placed) < 60
    boxes = [(x, y - LINE_PX / 2, x + len(name) * LETTER_PX, y + LINE_PX / 2) for name, (x, y) in placed.items()]
    for one, other in combinations(boxes, 2):
        assert one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
    assert all(min(box[:2]) >= 0 and max(box[2:]) <= 400 for box in boxes)


def test_names_in_a_column_keep_their_order_a_line_apart() -> None:
    heights = [100.0, 101.0, 99.0, 250.0, 2.0]
    spread = spread_names(heights, 300)
    assert sorted(range(5), key=lambda at: spread[at]) == sorted(range(5), key=lambda at: heights[at])
    assert np.min(np.diff(sorted(spread))) >= LINE_PX - 0.5
    assert min(spread) >= LINE_PX / 2


def test_the_same_specification_serves_notebook_and_page() -> None:
    spec = picture_field(field(), "measured", "kg/ha")
    whole = complete(spec)
    assert whole["$schema"] == SCHEMA
    assert {key: whole[key] for key in spec} == spec


def test_example_in_the_manual_runs_as_it_stands_and_without_django(tmp_path) -> None:
    text = (PROJECT / "docs" / "pictures.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```python\n(.*?)```", text, flags=re.DOTALL)
    assert len(blocks) == 3
    check = "import sys\nassert not [name for name in sys.modules if name.split('.')[0] == 'django']\n"
    check += "assert svg.startswith('<svg') and complete(places)['layer'] and left['layer']\n"
    program = tmp_path / "notebook.py"
    program.write_text("\n".join([*blocks, check]), encoding="utf-8")
    done = subprocess.run([sys.executable, str(program)], cwd=PROJECT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "Next neighbours in the same field row" in done.stdout
    assert "the chance that it is truly the best there is" in done.stdout
