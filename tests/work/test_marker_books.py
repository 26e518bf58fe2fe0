"""Do markers come into the books whole or not at all, and do they find the samples that were planted wrong?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, MarkerPanel, MarkerSample, Station
from firstsilk.science.lineage.markers import MarkerTable
from firstsilk.work.audit import audit_books
from firstsilk.work.lineage.bring_markers import bring_markers, set_sample_aside
from firstsilk.work.lineage.marker_books import agree_on_calls
from firstsilk.work.lineage.marker_given import MarkersGiven, SampleGiven
from firstsilk.work.lineage.markers import read_line_markers, read_markers
from firstsilk.work.lineage.merges import merge_lines
from firstsilk.work.lineage.names import add_line_name
from tests.work.marker_station import bring_lines, give, invented_book, invented_samples

pytestmark = pytest.mark.django_db


@pytest.fixture
def invented(db):
    """The invented lines with their markers."""
    on = bring_lines()
    bring_markers(on, "chip", give(invented_samples()))
    return on


def small(names=("E1", "E2"), lines=None, doses=((0, 1, 2), (2, -1, 0)), markers=("m1", "m2", "m3")):
    """A few readings as they are handed in."""
    table = MarkerTable(tuple(names), tuple(markers), np.array(doses, dtype=np.int8))
    named = tuple(SampleGiven(one, line) for one, line in zip(names, lines or names, strict=True))
    return MarkersGiven(table, named, source="small.csv")


def refused(on, given, panel="chip"):
    with pytest.raises(InputRefused) as no:
        bring_markers(on, panel, given)
    return no.value


def test_markers_when_brought_are_read_back_as_they_were(on):
    brought = bring_markers(on, "chip", small())
    assert (brought.is_new, brought.n_markers, brought.n_new, brought.n_lines) == (True, 3, 2, 2)
    assert bytes(MarkerSample.objects.get(name="E2").calls) == np.array([2, -1, 0], dtype=np.int8).tobytes()
    page = read_markers(on)
    assert page.panel.n_markers == 3
    assert [(one.sample, one.call_rate, one.heterozygosity) for one in page.samples] == [
        ("E1", 1.0, pytest.approx(1 / 3)),
        ("E2", pytest.approx(2 / 3), 0.0),
    ]


def test_markers_when_sent_again_are_there_already_and_new_samples_join_their_panel(on):
    bring_markers(on, "chip", small())
    again = bring_markers(on, "chip", small(("E1", "E1b"), ("E1", "E1"), ((1, 2, 0), (1, 2, 0)), ("m2", "m3", "m1")))
    assert (again.is_new, again.n_new, again.n_same) == (False, 1, 1)
    fewer = bring_markers(on, "chip", small(("E2b",), ("E2",), ((2, 0),), ("m1", "m3")))
    assert fewer.told == ("1 of the panel's 3 markers are not in the file: not read.",)
    assert bytes(MarkerSample.objects.get(name="E2b").calls) == np.array([2, -1, 0], dtype=np.int8).tobytes()


def test_markers_of_a_line_by_another_name_are_of_that_line(on):
    add_line_name(on, "E1", "Old North")
    bring_markers(on, "chip", small(("Old North", "E2")))
    assert MarkerSample.objects.get(name="Old North").line.name == "E1"


@pytest.mark.parametrize(
    ("given", "code"),
    [
        (small(("E1", "nobody")), "line_unknown"),
        (small(("E1", "E2"), markers=("m1", "m2", "else")), "marker_not_in_panel"),
        (small(("E1", "E2"), ("E2", "E1")), "sample_differs"),
        (small(("E1", "E2"), doses=((0, 0, 0), (2, -1, 0))), "sample_differs"),
        (small(("x" * 61,), ("E1",), ((0, 1, 2),)), "name_unfit"),
    ],
)
def test_markers_that_do_not_fit_are_refused_whole(on, given, code):
    bring_markers(on, "chip", small())
    assert {one.code for one in refused(on, given).findings} == {code}
    assert MarkerSample.objects.count() == 2


def test_a_sheet_that_contradicts_the_books_is_refused_with_its_place(on):
    given = small()
    sheet = (
        replace(given.samples[0], lot="E2-30", row="nothing"),
        replace(given.samples[1], lot="no lot", sampled_on=date(2031, 12, 1)),
    )
    codes = [one.code for one in refused(on, replace(given, samples=sheet)).findings]
    assert codes == ["lot_of_another_line", "row_unknown", "lot_unknown", "day_to_come"]
    assert not MarkerPanel.objects.exists()


def test_nucleotides_for_a_panel_that_is_there_are_refused(on):
    bring_markers(on, "chip", small())
    assert refused(on, replace(small(), letters=True)).refusal.code == "letters_counted_anew"


def test_a_sample_set_aside_stays_in_the_books_and_counts_no_longer(on):
    bring_markers(on, "chip", small())
    assert set_sample_aside(on, "chip", "E2", "leaf of the wrong row") == "E2"
    page = read_markers(on)
    assert [one.sample for one in page.samples] == ["E1"]
    assert [(one.sample, one.reason) for one in page.aside] == [("E2", "leaf of the wrong row")]
    assert [one.sample for one in read_markers(replace(on, today=date(2031, 9, 30))).samples] == []
    for sample, reason, code in (("E2", "again", "sample_set_aside"), ("E1", " ", "reason_needed")):
        with pytest.raises(InputRefused) as no:
            set_sample_aside(on, "chip", sample, reason)
        assert no.value.refusal.code == code
    assert {one.code for one in refused(on, small()).findings} == {"sample_differs"}


def test_planted_samples_are_refuted_and_hardly_any_other(invented):
    page = read_markers(invented)
    wrong = {one.line for one in invented_samples() if one.name != one.truly and one.line != one.truly}
    refuted = {one.line for one in page.judged if one.verdict == "disagrees"}
    assert {"EK207", "EK211", "HM205", "HM304"} <= refuted
    planted_hybrid = next(one.line for one in invented_samples() if one.truly.startswith("self of"))
    (cross,) = [one for one in page.judged if one.line == planted_hybrid]
    assert (cross.check, cross.verdict, cross.likelier) == ("cross", "disagrees", "self_of_mother")
    touched = wrong | {planted_hybrid}
    books = {line.name: line for line in invented_book().lines}
    # What is made of a wrongly sampled line contradicts it too.
    of_wrong = {name for name, line in books.items() if {line.mother, line.father} & wrong}
    of_wrong |= {name for name, line in books.items() if line.mother in of_wrong}
    assert refuted <= touched | of_wrong
    assert page.count("agrees") > 40


def test_swapped_samples_are_told_as_fitting_each_other(invented):
    fits = {one.line: one.fits for one in read_markers(invented).judged if one.check == "descent" and one.fits}
    assert "EK211" in fits["EK207"]
    assert "EK207" in fits["EK211"]


def test_a_plant_of_other_pollen_is_too_heterozygous(invented):
    found = [one for one in read_markers(invented).judged if one.line == "HM304"]
    told = {one.check: one.verdict for one in found}
    assert told["descent"] == "disagrees"
    assert told["heterozygosity"] == "disagrees"


def test_one_line_is_judged_as_on_the_page_of_all(invented):
    for line in ("EK207", "HM205", "EK301"):
        own = read_line_markers(invented, line)
        of_all = [one for one in read_markers(invented).judged if one.line == line]
        assert {(one.check, one.verdict) for one in own.judged} == {(one.check, one.verdict) for one in of_all}
        assert {one.line for one in own.samples} == {line}


def test_the_audit_names_the_record_and_the_repair_and_ends_when_the_sample_is_set_aside(invented):
    found = [one for one in audit_books(invented).found if one.finding.code.startswith("marker_")]
    codes = {(one.key, one.finding.code) for one in found}
    assert ("HM205", "marker_not_the_line") in codes
    assert ("EK207", "marker_not_the_parents") in codes
    assert ("HM304", "marker_too_mixed") in codes
    assert all(one.finding.repair and one.subject == "lineage" and one.kind == "line" for one in found)
    set_sample_aside(invented, "chip", "HM205 again", "leaf of HM209")
    after = {(one.key, one.finding.code) for one in audit_books(invented).found}
    assert ("HM205", "marker_not_the_line") not in after


def test_samples_of_merged_records_are_samples_of_one_line(on):
    bring_markers(on, "chip", small())
    Line.objects.create(station=Station.objects.get(), name="E1 twin", method="founder_inbred", generation="S7")
    bring_markers(on, "chip", small(("twin",), ("E1 twin",), ((0, 1, 2),)))
    merge_lines(replace(on, who="command"), "E1", "E1 twin", "one line")
    assert {one.line for one in read_markers(on).samples if one.sample in ("E1", "twin")} == {"E1"}
    assert len(read_line_markers(on, "E1").samples) == 2


def test_the_number_of_questions_does_not_grow_with_samples(on):
    def count():
        with CaptureQueriesContext(connection) as asked:
            read_markers(on)
            read_line_markers(on, "E1")
            audit_books(on)
        return len(asked)

    bring_markers(on, "chip", small())
    few = count()
    many = tuple(f"more {at}" for at in range(30))
    bring_markers(on, "chip", small(many, ["E1", "E2", "E3-1"] * 10, [(0, 1, 2)] * 30))
    assert count() == few


def test_samples_that_differ_agree_on_what_all_that_were_read_say():
    doses = np.array([[0, 1, -1, 2, -1], [0, 2, 1, 2, -1], [0, 1, 1, -1, -1]], dtype=np.int8)
    assert agree_on_calls(doses).tolist() == [0, -1, 1, 2, -1]
