"""Are contradictions in the books found on the day they stood, with their records, in a fixed number of queries?"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

import firstsilk
from firstsilk.records.models import (
    Line,
    LineMerge,
    Lot,
    LotOrigin,
    Movement,
    Plot,
    PlotRecord,
    Row,
    Season,
    Station,
    Trial,
)
from firstsilk.work.audit import audit_books
from firstsilk.work.audited import SUBJECTS, WEIGHT_OF, WEIGHTS
from firstsilk.work.flowering.notes import NoteDraft, write_notes

pytestmark = pytest.mark.django_db

NOW = datetime(2031, 10, 1, 9, 0, tzinfo=UTC)


def codes_of(audit, subject=""):
    return sorted({one.finding.code for one in audit.choose(subject)})


def move(lot, kernels, day, reason="sown"):
    Movement.objects.create(station=lot.station, lot=lot, kernels=kernels, reason=reason, moved_on=day, recorded_at=NOW)


def write(on, kind, number, value="", day=date(2031, 7, 27), **more):
    row = Row.objects.get(number=number)
    write_notes(on, [NoteDraft(kind, row.tag, value=str(value), taken_local=f"{day}T10:00:00", **more)])


def test_the_small_station_is_clean_but_for_what_it_does_not_tell(on):
    done = audit_books(on)
    assert done.count("", "cannot_be") == 0
    assert dict(done.looked_at) == {
        "lines": 5,
        "lots": 3,
        "movements": Movement.objects.count(),
        "rows": 3,
        "notes": 8,
        "trials": 1,
        "plots": 4,
    }
    assert any("2031" in one and "no pollination is noted" in one for one in done.not_judged)


def test_each_subject_tells_its_record_value_and_repair_and_the_heaviest_first(on):
    station = Station.objects.get()
    Line.objects.filter(name="E3-1-4").update(generation="S5")
    move(Lot.objects.get(name="E2-30"), -5000, date(2031, 9, 1))
    Row.objects.filter(number=1).update(lot=Lot.objects.get(name="E2-30"))
    write(on, "pollinated", 1, 3, detail="self")
    plot = Plot.objects.get(number=101)
    PlotRecord.objects.create(station=station, plot=plot, weight_kg=7.0, moisture_pct=50.0, recorded_at=NOW)
    done = audit_books(on)
    heavy = {one.subject: one for one in reversed(done.found)}
    assert heavy["lineage"].finding.code == "generation_not_next"
    assert (heavy["lineage"].kind, heavy["lineage"].key) == ("line", "E3-1-4")
    assert heavy["lineage"].finding.as_text().startswith("line E3-1-4, column generation: generation S5, but")
    assert "S2 follows" in heavy["lineage"].finding.repair
    assert heavy["seed"].finding.code == "lot_overdrawn"
    assert heavy["nursery"].finding.code == "row_of_another_lot"
    assert heavy["flowering"].finding.code == "more_ears_than_pollinated"
    assert heavy["flowering"].record == "row 1 of 2031"
    assert heavy["trials"].finding.code == "moisture_out_of_range"
    assert [SUBJECTS.index(one.subject) for one in done.found] == sorted(
        SUBJECTS.index(one.subject) for one in done.found
    )


def test_a_finding_when_its_cause_came_later_is_not_there_yet(on):
    move(Lot.objects.get(name="E2-30"), -5000, date(2031, 9, 1))
    assert "lot_overdrawn" not in codes_of(audit_books(replace(on, today=date(2031, 8, 31))))
    assert "lot_overdrawn" in codes_of(audit_books(replace(on, today=date(2031, 9, 1))))


def test_a_wrong_note_when_taken_back_is_no_finding_any_more(on):
    write(on, "stand", 2, 99, day=on.today)
    assert "more_plants_than_kernels" in codes_of(audit_books(on))
    from firstsilk.records.models import Note

    last = Note.objects.order_by("-position").first()
    write_notes(on, [NoteDraft("withdrawn", last.tag, value="slip", replaces=str(last.uuid))])
    assert "more_plants_than_kernels" not in codes_of(audit_books(on))


def test_a_note_on_a_tag_of_nothing_is_found(on):
    from firstsilk.science.seed.tags import tag_for_serial

    write_notes(on, [NoteDraft("stand", tag_for_serial(987_654), value="4")])
    (found,) = audit_books(on).choose("flowering", code="note_of_no_record")
    assert found.kind == "note"


def test_crates_nobody_gave_out_and_crates_forgotten_are_found_season_by_season(on):
    from firstsilk.work.seed.crates import give_crate_tags

    good, other = give_crate_tags(on, 2)
    bag = "7KQ4RN2M"
    write(on, "crated", 1, bag, date(2031, 8, 20), bag="B1")
    write(on, "crated", 1, good, date(2031, 8, 20), bag="B2")
    write(on, "crated", 2, other, date(2031, 8, 20), bag="B3")
    write_notes(on, [NoteDraft("dried", other, "14.5", taken_local="2031-08-25T10:00:00")])
    found = audit_books(replace(on, today=date(2031, 9, 30))).choose("seed")
    told = [(one.finding.code, one.kind, one.key) for one in found if one.finding.code.startswith("crate")]
    row = Row.objects.get(number=1)
    assert told == [("crate_unknown", "row", row.tag), ("crate_forgotten", "crate", good)]
    assert next(one for one in found if one.kind == "crate").weight == "not_told"
    soon = audit_books(replace(on, today=date(2031, 9, 10)))
    assert [code for code in codes_of(soon, "seed") if code.startswith("crate")] == ["crate_unknown"]
    write(on, "shelled", 1, 90, date(2031, 9, 20))
    after = audit_books(replace(on, today=date(2031, 9, 30)))
    assert "crate_forgotten" not in codes_of(after)


def test_a_harvested_lot_when_its_row_is_of_another_line_is_found(on):
    station = Station.objects.get()
    line, row = Line.objects.get(name="E3-1"), Row.objects.get(number=2)
    lot = Lot.objects.create(station=station, tag="0000000A", name="N", line=line, origin="pollinations", year=2031)
    move(lot, 50, date(2031, 9, 20), "harvested")
    assert "lot_without_row" in codes_of(audit_books(on), "seed")
    LotOrigin.objects.create(station=station, lot=lot, row=row)
    assert "lot_not_of_its_row" in codes_of(audit_books(on), "seed")


def test_lines_when_found_to_be_one_contradict_each_other_no_longer(on):
    Row.objects.filter(number=1).update(lot=Lot.objects.get(name="E2-30"))
    assert "row_of_another_lot" in codes_of(audit_books(on), "nursery")
    gone, kept = Line.objects.get(name="E1"), Line.objects.get(name="E2")
    told = {"reason": "one line", "merged_on": date(2031, 9, 1)}
    LineMerge.objects.create(station=kept.station, kept=kept, gone=gone, **told)
    assert "row_of_another_lot" not in codes_of(audit_books(on), "nursery")
    assert "row_of_another_lot" in codes_of(audit_books(replace(on, today=date(2031, 8, 31))), "nursery")


def test_the_books_when_ten_times_as_large_are_asked_as_often(on):
    with CaptureQueriesContext(connection) as before:
        few = audit_books(on)
    station, season, line = Station.objects.get(), Season.objects.get(), Line.objects.get(name="E1")
    child = [Line(station=station, name=f"X{at}", method="self", mother=line, selfings=1) for at in range(50)]
    Line.objects.bulk_create(child)
    for at, one in enumerate(Line.objects.filter(name__startswith="X")):
        told = {"tag": f"0000L{at:03}", "name": f"L{at}", "origin": "pollinations", "year": 2031}
        lot = Lot.objects.create(station=station, line=one, **told)
        move(lot, 10, date(2031, 9, 1), "harvested")
        move(lot, -20, date(2031, 9, 2))
        told = {"tag": f"0000R{at:03}", "number": 100 + at, "field_row": 9, "field_col": at, "purpose": "self"}
        row = Row.objects.create(station=station, season=season, line=one, lot=lot, **told)
        LotOrigin.objects.create(station=station, lot=lot, row=row)
    first = Trial.objects.get()
    for at in range(10):
        trial = Trial.objects.create(station=station, name=f"T{at}", site=first.site, year=2029, design="complete")
        plot = Plot.objects.create(station=station, trial=trial, number=1, entry=line)
        PlotRecord.objects.create(station=station, plot=plot, weight_kg=0.0, recorded_at=NOW)
    write_notes(on, [NoteDraft("stand", one.tag, value="30") for one in Row.objects.all()])
    with CaptureQueriesContext(connection) as after:
        many = audit_books(on)
    assert many.count() >= few.count() + 100
    assert len(after) == len(before) <= 22


def test_every_code_that_a_rule_can_give_has_a_weight():
    science = Path(firstsilk.__file__).parent / "science"
    files = ("lineage/line_rules", "seed/lot_rules", "nursery/row_rules", "flowering/bagging_rules", "flowering/bags")
    files += ("flowering/checks", "flowering/harvest", "flowering/crates", "trials/plot_rules")
    given = {
        code
        for name in files
        for code in re.findall(r'_odd\(\s*"([a-z_]+)"', (science / f"{name}.py").read_text("utf-8"))
    }
    assert given <= set(WEIGHT_OF)
    assert set(WEIGHT_OF) - given == {
        "note_of_no_record",
        "drift",
        "packets_swapped",
        "packets_shifted",
        "row_flowers_apart",
        "marker_not_the_line",
        "marker_not_the_parent",
        "marker_not_the_cross",
        "marker_not_the_parents",
        "marker_too_mixed",
    }
    assert set(WEIGHT_OF.values()) == set(WEIGHTS)


def test_every_rule_stands_in_the_page_of_docs():
    page = (Path(firstsilk.__file__).parents[2] / "docs" / "audit.md").read_text("utf-8")
    assert [code for code in WEIGHT_OF if f"`{code}`" not in page] == []
