"""Does the plot-doubts door tell what is doubtful, draw its map, and refuse bad tables in one sentence?"""

from __future__ import annotations

import csv
import io
import json
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from firstsilk.faces.pictures.plot_doubts import MARKS, draw_plot_map, list_shades
from firstsilk.work.analysis.plot_findings import PlotLook
from tests.faces.calling import call, write

EXAMPLE = Path(__file__).parents[2] / "examples/plot-doubts/plots.csv"
PLACES = ("--rep", "rep", "--row", "field_row", "--column", "field_col", "--plot", "plot")


def test_json_when_the_example_is_doubted_then_the_pass_and_each_plot_are_told(capsys, tmp_path):
    picture = tmp_path / "map.svg"
    asked = (EXAMPLE, "--response", "yield_t_ha,moisture_pct", *PLACES, "--map", picture, "--json")
    code, out, err = call(capsys, "plot-doubts", *asked)
    told = json.loads(out)
    assert code == 0
    assert "Nothing was changed." in err
    assert told["shifted_pass"]["direction"] == "late"
    assert abs(int(told["shifted_pass"]["first"]) - 55) <= 2
    assert told["n_passes"] == 6
    assert [one["trait"] for one in told["traits"]] == ["yield_t_ha", "moisture_pct"]
    assert len(told["traits"][0]["plots"]) == told["n_plots"] == 108
    assert told["rows"][0]["code"] == "shifted_pass"
    drawn = ET.parse(picture).getroot()
    assert len(drawn.findall(".//{*}rect")) == 108


def test_order_when_given_then_lines_may_stand_in_any_order(capsys, tmp_path):
    lines = EXAMPLE.read_text().splitlines()
    mixed = write(tmp_path, "\n".join([lines[0], *reversed(lines[1:])]) + "\n", "mixed.csv")
    asked = ("--response", "yield_t_ha", *PLACES, "--json")
    plain = json.loads(call(capsys, "plot-doubts", EXAMPLE, *asked)[1])
    other = json.loads(call(capsys, "plot-doubts", mixed, *asked, "--order", "plot")[1])
    assert other["shift_odds"] == pytest.approx(plain["shift_odds"], rel=1e-6)
    assert [row["message"] for row in other["rows"]] == [row["message"] for row in plain["rows"]]


@pytest.mark.parametrize(
    ("change", "arguments", "told"),
    [
        (("9.", "nine."), (), "this is not a number"),
        (("1,1,1,1,", "1,1,1,2,"), (), "is there twice"),
        (("H06", ""), (), "column entry: this cell is empty"),
        (("", ""), ("--response", "weight"), "column 'weight' is missing"),
        (("", ""), ("--order", "rep"), "is there twice"),
    ],
    ids=["word for number", "place twice", "nameless", "no such column", "order twice"],
)
def test_bad_tables_are_refused_with_line_and_column(capsys, tmp_path, change, arguments, told):
    text = EXAMPLE.read_text()
    bad = write(tmp_path, text.replace(*change, 1) if change[0] else text, "bad.csv")
    code, out, err = call(capsys, "plot-doubts", bad, "--response", "yield_t_ha", *PLACES, *arguments)
    assert (code, out) == (1, "")
    assert "bad.csv, line " in err
    assert told in err


def test_a_table_without_replicates_says_what_could_not_be_looked_at(capsys, tmp_path):
    text = "entry,y\n" + "".join(f"E{k},{k % 7}\n" for k in range(20))
    code, out, err = call(capsys, "plot-doubts", write(tmp_path, text, "one.csv"), "--response", "y")
    assert code == 0
    assert "Not looked at: 20 plots of 20 entries tell y: too few" in err
    assert list(csv.reader(io.StringIO(out))) == [["code", "line", "column", "value", "message", "repair"]]


def look(**told) -> PlotLook:
    plain = {"plot": "7", "entry": "A<b", "rep": "1", "field_row": 1, "field_col": 1, "value": 5.0, "expected": 4.0}
    return PlotLook(**{**plain, "t": 0.0, "odd": False, "shifted": False, "rejected": False, **told})


def test_map_when_plots_lie_out_then_sign_and_size_stand_as_marks_and_names_are_escaped():
    drawn = draw_plot_map([look(t=-3.5, odd=True), look(field_col=2, t=1.5, shifted=True), look(field_col=3, t=None)])
    assert "A&lt;b" in drawn
    texts = [one.text for one in ET.fromstring(drawn).iter("{http://www.w3.org/2000/svg}text")]
    assert {"− − −", "+", "!", "·"} <= set(texts)
    assert drawn.count("stroke-dasharray") == 1
    assert draw_plot_map([look()] * 3_001) == ""
    assert [mark for _, mark, _ in list_shades()] == list(MARKS)


def test_map_when_places_are_unknown_then_twenty_in_a_row():
    nowhere = [look(plot=str(k), field_row=None, field_col=None) for k in range(45)]
    rects = ET.fromstring(draw_plot_map(nowhere)).findall(".//{*}rect")
    assert len({one.get("y") for one in rects}) == 3
    assert len({one.get("x") for one in rects}) == 20
