"""Does the audit name rows of the books that flower as if their packets had been swapped or shifted?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from firstsilk.records.models import Site
from firstsilk.work.audit import audit_books
from firstsilk.work.climate.series import read_daily_heat
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from tests.factories import make_line, make_row, make_season, make_station, make_weather, occasion

pytestmark = pytest.mark.django_db

ROWS, SOWN, LAST = 30, date(2031, 5, 12), date(2031, 9, 10)


def put_in(true):
    """Rows of lines that differ by tens of units, row r flowering when the line of row `true[r]` does."""
    station = make_station()
    make_weather(station, 2031, LAST)
    season = make_season(station)
    heat = read_daily_heat(station, Site.objects.get(), LAST)
    start = heat.days.index(SOWN) + 1
    sums = np.cumsum(heat.units[start:])
    dice = np.random.default_rng(5)
    units = np.column_stack([1200.0 + 15.0 * dice.permutation(ROWS), dice.uniform(20.0, 90.0, ROWS)])
    drafts = []
    for at in range(ROWS):
        line = make_line(station, f"P{at}", units[at, 0], units[at, 0] - units[at, 1])
        row = make_row(season, at + 1, line)
        silk, gap = units[true[at]]
        for kind, wanted in (("silk", silk), ("shed", silk - gap)):
            day = heat.days[start + int(np.searchsorted(sums, wanted))]
            drafts.append(NoteDraft(kind, row.tag, value=str(day), taken_local=f"{day}T10:00:00"))
        drafts.append(NoteDraft("sown", row.tag, value=str(SOWN), taken_local=f"{SOWN}T10:00:00"))
    on = occasion(LAST)
    write_notes(on, drafts)
    return on


def named(on):
    return [one for one in audit_books(on).choose("nursery") if one.finding.place.column == "packet"]


def test_rows_that_flower_as_their_lines_do_are_left_in_peace():
    assert named(put_in(range(ROWS))) == []


def test_two_swapped_packets_are_named_with_both_rows_and_what_to_do():
    true = list(range(ROWS))
    true[9], true[12] = true[12], true[9]
    (found,) = named(put_in(true))
    assert found.finding.code == "packets_swapped"
    assert found.record == "row 10 of 2031"
    assert "row 13 like P9" in found.finding.message
    assert "rows 10 and 13" in found.finding.repair
    assert found.weight == "unlikely"


def test_a_shifted_pass_is_named_with_its_stretch_and_not_before_it_flowers():
    true = [*range(10), *range(9, 21), *range(22, ROWS)]
    on = put_in(true)
    found = named(on)[0]
    assert found.finding.code == "packets_shifted"
    assert "the packet of the row before it" in found.finding.message
    early = audit_books(replace(on, today=date(2031, 7, 1)))
    assert any("packets by flowering" in one for one in early.not_judged)
    assert not any(one.finding.code == "packets_shifted" for one in early.found)


def test_a_row_far_from_its_line_and_from_its_neighbours_is_named_alone():
    true = list(range(ROWS))
    station_units = 1200.0 + 15.0 * np.random.default_rng(5).permutation(ROWS)
    true[0] = int(np.argmax(np.abs(station_units - station_units[0])))
    assert {one.record for one in named(put_in(true))} == {"row 1 of 2031"}
