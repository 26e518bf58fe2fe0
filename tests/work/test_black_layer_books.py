"""Do the books take heat units to black layer: brought, filled in later, refused where they cannot be, and invented?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.files.station import read_station_files
from firstsilk.invented.genes import value_hybrid
from firstsilk.invented.station import LINE_COLUMNS, estimate_black_layer, list_lines
from firstsilk.invented.world import build_world
from firstsilk.records.models import Line
from firstsilk.work.bring.store import bring_station
from firstsilk.work.lineage.line import read_line
from firstsilk.work.lineage.newcomers import NewLine, add_line

HEAD = "line,units_to_silk,units_to_black_layer\n"


def bring_lines(on, text):
    return bring_station(on, read_station_files({"lines.csv": text.encode()}))


def test_units_to_black_layer_when_brought_later_fill_what_was_empty_and_are_kept(on):
    bring_lines(on, HEAD + "E1/E2,1240,2290\n")
    assert Line.objects.get(name="E1/E2").units_to_black_layer == 2290
    assert read_line(on, "E1/E2").facts.units_to_black_layer == 2290
    assert bring_lines(on, HEAD + "E1/E2,1240,2290\n").n_new == 0
    with pytest.raises(InputRefused) as no:
        bring_lines(on, HEAD + "E1/E2,1240,2300\n")
    assert {(one.code, one.place.column) for one in no.value.findings if one.stops} == {
        ("differs_from_books", "units_to_black_layer")
    }


def test_units_to_black_layer_when_brought_with_a_new_hybrid_are_stored(on):
    bring_lines(on, "line,kind,method,mother,father,units_to_black_layer\nE2/E1,hybrid,cross,E2,E1,2310\n")
    assert Line.objects.get(name="E2/E1").units_to_black_layer == 2310


@pytest.mark.parametrize(("units", "code"), [("1240", "black_layer_before_silk"), ("0", "out_of_range")])
def test_units_to_black_layer_when_they_cannot_be_stop_the_folder(on, units, code):
    with pytest.raises(InputRefused) as no:
        bring_lines(on, HEAD + f"E1/E2,1240,{units}\n")
    assert code in {one.code for one in no.value.findings if one.stops}
    assert Line.objects.get(name="E1/E2").units_to_black_layer is None


def test_new_hybrid_when_added_at_the_desk_has_its_units_or_is_refused(on):
    new = {"kind": "hybrid", "stands_for": "family", "method": "cross", "mother": "E1", "father": "E2"}
    add_line(on, NewLine("E7", units_to_silk=1230, units_to_black_layer=2280, **new))
    assert Line.objects.get(name="E7").units_to_black_layer == 2280
    for black, codes in ((1200.0, {"black_layer_before_silk"}), (-1.0, {"units_odd", "black_layer_before_silk"})):
        with pytest.raises(InputRefused) as no:
            add_line(on, NewLine("E8", units_to_silk=1230, units_to_black_layer=black, **new))
        assert {one.code for one in no.value.findings if one.stops} == codes


@pytest.fixture(scope="module")
def world():
    return build_world(1)


def test_invented_hybrids_need_units_about_which_the_valley_leaves_a_risk(world):
    true = np.array([one.units_to_black_layer_chu for one in world.truth.hybrids.values()])
    assert 2100 < true.min() < 2250
    assert 2400 < true.max() < 2550
    assert 40 < true.std() < 90
    filling = [one.units_to_black_layer_chu - one.units_to_silk_chu for one in world.truth.hybrids.values()]
    # About 1,100 of 2,300 (Nadler).
    assert np.mean(filling) == pytest.approx(1080, abs=25)
    wet = [one.moisture_pct for one in world.truth.hybrids.values()]
    assert np.corrcoef(filling, wet)[0, 1] > 0.5


def test_invented_hybrid_and_its_reciprocal_need_the_same(world):
    one, other = world.truth.lines["EK103"], world.truth.lines["HM104"]
    assert value_hybrid(1, "A", one, other).units_to_black_layer_chu == pytest.approx(
        value_hybrid(1, "B", other, one).units_to_black_layer_chu
    )


def test_invented_station_knows_the_units_of_what_it_tried_nearly_and_of_nothing_else(world):
    rows = [dict(zip(LINE_COLUMNS, row, strict=True)) for row in list_lines(world)]
    known = {row["line"]: row["units_to_black_layer"] for row in rows if row["units_to_black_layer"] is not None}
    tried = {plot.entry for plot in world.past_trials.plots}
    assert known.keys() <= tried & world.truth.hybrids.keys()
    assert len(known) >= 60
    assert {row["line"] for row in rows if row["check"]} <= known.keys()
    off = np.array([units - world.truth.hybrids[name].units_to_black_layer_chu for name, units in known.items()])
    assert 18 < off.std() < 32
    assert estimate_black_layer(world, world.book.find("EK103"), in_trials=True) is None
