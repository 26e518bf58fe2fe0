"""Do the books say what went wrong with set, and how one person's work goes, to whom they may and no further?"""

from __future__ import annotations

import json
import math
from dataclasses import asdict, replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.faces.paper.year import make_day_sheet, make_walk_book
from firstsilk.records.models import Device, Station, WeatherDay, WeatherHour
from firstsilk.science.climate.day_curve import draw_day_curve
from firstsilk.science.climate.humidity import saturation_pressure_kpa, vapour_deficit_kpa
from firstsilk.science.flowering.notes import note_as_wire
from firstsilk.work.flowering import work_quality
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.flowering.walk import read_walk
from firstsilk.work.flowering.work_quality import FEWEST_POLLINATIONS, HANDS, read_work_quality
from firstsilk.work.seed.set_causes import read_set_causes
from firstsilk.work.seed.set_records import BELOW_MINIMUM_C, read_set_book
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_target,
    make_weather,
    occasion,
    sign_in,
    take_note,
)
from tests.work.station_books import PHONE, make_note

pytestmark = pytest.mark.django_db

DAY = date(2031, 10, 20)
ON = occasion(DAY)
WORKERS = ("W01", "W02", "W03", "W04", "W05", "W06")


@pytest.fixture
def season():
    """Sixty selfs of ten lines, pollinated by six people; W06 sets half of what the others set and leaves bags open."""
    station = make_station(held=DAY)
    Station.objects.update(time_zone="Europe/Paris", last_device_number=1)
    Device.objects.create(
        station=station, uuid=PHONE, number=1, label="north", enrolled_at=datetime(2031, 1, 1, tzinfo=UTC)
    )
    station.refresh_from_db()
    make_weather(station, 2030, DAY)
    made = make_season(station)
    lots = [make_lot(make_line(station, f"E{at}")) for at in range(10)]
    dice = np.random.default_rng(3)
    wires: list[dict[str, object]] = []

    def note(row, kind, value, when, worker="W01", **more):
        given = {"tag": row.tag, "kind": kind, "value": str(value), "worker": worker, "taken_local": when}
        wires.append(note_as_wire(make_note(len(wires) + 1, **given, **more)))

    for at in range(60):
        lot = lots[at % 10]
        row = make_row(made, at + 1, lot.line, "self", make_target(made, at + 1, lot.line), lot)
        silk = date(2031, 7, 18) + timedelta(days=at % 5)
        day, hour, worker = silk + timedelta(days=at % 4), int(dice.integers(9, 15)) if at else 9, WORKERS[at % 6]
        root = 13 - 0.6 * (hour - 11.5) + dice.normal(0, 0.7) - (4 if worker == "W06" else 0)
        note(row, "silk", silk.isoformat(), f"{silk}T08:00:00")
        note(row, "pollinated", 12, f"{day}T{hour:02d}:20:00", worker, detail="self")
        bad = 4 if worker == "W06" else 0
        note(row, "rechecked", 5 - bad, f"{day}T17:00:00", "W09", detail="well")
        if bad:
            note(row, "rechecked", bad, f"{day}T17:01:00", "W09", detail="bag_open")
        note(row, "ears_picked", 11, "2031-09-25T09:00:00")
        note(row, "shelled", round(12 * root**2), "2031-10-10T09:00:00")
    receipt = receive_notes(ON, PHONE, wires)
    assert len(receipt.stored) == len(wires)
    return made


def test_the_season_is_told_by_causes_in_words_with_what_is_missing(season):
    found = read_set_causes(ON, "2031")
    told = {one.name: one for one in found.causes}
    assert found.causes[0].name == "worker"
    assert told["hour"].is_clear
    assert "An hour later gives less: -1" in told["hour"].says
    assert "kernels" in told["hour"].says
    assert found.model is not None
    without = dict(found.model.without)
    assert without.pop("male") == "goes wholly with the line"
    assert set(without) <= {"deficit_kpa"}
    assert "hourly humidity" in found.basis.as_text()
    assert (found.model.n, found.model.attempts) == (60, 720)
    assert "worker" not in found.worst


def test_dry_air_is_measured_where_hours_are_and_else_reckoned_from_the_day(season):
    station = season.station
    book = read_set_book(ON, station, season)
    first = book.records[0]
    assert (first.hour, first.silk_days, first.attempts, first.day) == (9 + 1 / 3, 0.0, 12, "2031-07-18")
    # Clock time 9:20 in summer is 8:20 standard time.
    low, high = WeatherDay.objects.filter(date=date(2031, 7, 18)).values_list("tmin_c", "tmax_c").get()
    curve = saturation_pressure_kpa(draw_day_curve(low, high)) - saturation_pressure_kpa(low - BELOW_MINIMUM_C)
    assert first.deficit_kpa == pytest.approx(curve[8] + (curve[9] - curve[8]) / 3)
    for hour, warmth, humidity in ((8, 20.0, 60.0), (9, 23.0, 50.0)):
        WeatherHour.objects.create(
            station=station, site=season.site, date=date(2031, 7, 18), hour=hour, temp_c=warmth, rh_pct=humidity
        )
    told = read_set_book(ON, station, season)
    ends = [float(vapour_deficit_kpa(20.0, 60.0)), float(vapour_deficit_kpa(23.0, 50.0))]
    assert told.records[0].deficit_kpa == pytest.approx(ends[0] + (ends[1] - ends[0]) / 3)
    assert told.n_measured_air > 0


def test_rows_not_picked_yet_are_open_and_too_few_say_so(season):
    early = read_set_causes(replace(ON, today=date(2031, 8, 1)), "2031")
    assert early.model is None
    assert "0 rows tell what came of their pollinations: too few" in early.why_not
    assert "what came of 60 pollinated rows" in early.basis.as_text()


def test_one_who_sets_less_and_leaves_bags_open_may_need_a_hand_and_others_do_as_expected(season):
    view = read_work_quality(ON, "2031")
    cards = {one.worker: one for one in view.cards}
    assert [one.worker for one in view.cards] == list(WORKERS)
    assert [one.worker for one in view.to_help] == ["W06"]
    assert cards["W06"].verdict == "hand"
    assert cards["W06"].hands == (HANDS["set"], HANDS["bag_open"])
    assert "of them 40 not well: 80% (95 % between" in " ".join(cards["W06"].says)
    assert all(cards[name].verdict in ("as", "better") for name in WORKERS[:5])
    for card in view.cards:
        others = set(WORKERS) - {card.worker}
        assert not any(other in text for other in others for text in (*card.says, *card.hands)), "no comparison by name"


def test_nothing_is_said_of_set_on_few_pollinations(season, monkeypatch):
    monkeypatch.setattr(work_quality, "FEWEST_POLLINATIONS", 121)
    monkeypatch.setattr(work_quality, "FEWEST_RECHECKS", 51)
    view = read_work_quality(ON, "2031")
    assert {one.verdict for one in view.cards} == {"few"}
    assert view.to_help == ()
    assert FEWEST_POLLINATIONS == 60


@pytest.mark.parametrize("role", ["breeder", "technician", "crew_leader", "cooperator"])
def test_only_breeder_and_leader_see_how_the_work_goes(client, season, role):
    sign_in(client, season.station, role)
    leads = role in ("breeder", "crew_leader")
    page = client.get("/flowering/work/?season=2031")
    assert page.status_code == (200 if leads else 403)
    assert ("may need a hand" in page.content.decode()) is leads
    set_page = client.get("/seed/set/?season=2031").content.decode()
    assert "Hour of the day" in set_page
    assert "W06" not in set_page
    if leads:
        assert page["Cache-Control"] == "no-store"
    else:
        assert "/flowering/work/" not in client.get("/flowering/").content.decode()


def test_how_the_work_goes_is_on_no_paper_and_in_no_answer_to_a_phone(season):
    day = read_day_list(ON)
    told = json.dumps(
        [asdict(one) for one in (read_walk(ON), make_day_sheet(ON, day), make_walk_book(ON, day))], default=str
    )
    assert len(told) > 2000
    assert not any(word in told for word in ("need a hand", "as expected", "not well", "W06"))


def test_both_pages_ask_as_often_for_sixty_rows_as_for_seventy(season, client):
    sign_in(client, season.station, "breeder")

    def count(address):
        with CaptureQueriesContext(connection) as caught:
            assert client.get(address).status_code == 200
        return len(caught)

    before = [count(address) for address in ("/seed/set/", "/flowering/work/")]
    line = make_line(season.station, "F1")
    for number in range(61, 71):
        make_row(season, number, line, "self", make_target(season, number, line), None)
    assert [count(address) for address in ("/seed/set/", "/flowering/work/")] == before


def test_an_unknown_hour_of_notes_keyed_at_the_desk_is_told(season):
    line = make_line(season.station, "G1")
    row = make_row(season, 80, line, "self", make_target(season, 80, line), None)
    take_note(ON, row, "pollinated", 5, date(2031, 7, 22), detail="self", worker="W01")
    take_note(ON, row, "ears_picked", 4, date(2031, 9, 25))
    record = read_set_book(ON, season.station, season).records[-1]
    assert math.isnan(record.hour)
    assert record.kernels is None
    assert "the hour of 1 row (noted at desk or on paper)" in read_set_causes(ON, "2031").basis.as_text()
