"""Does the page of analysis show what was estimated, with its errors, and run for those who may?"""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.faces.pages.analysis.entry_plot import draw_entry_plot, pair_entries
from firstsilk.records.models import Result
from firstsilk.work.analysis.analyse import analyse_trials
from firstsilk.work.analysis.reading import read_analysis
from firstsilk.work.occasion import stay_silent
from tests.kept_books import keep_books
from tests.trial_cast import add_people, make_grown_cast, make_station

pytestmark = pytest.mark.django_db
ROLES = ("breeder", "technician", "crew_leader", "cooperator")
TRAITS = ("yield_kg_ha_15_5", "moisture_pct", "erect_frac")


@pytest.fixture
def cast():
    made = make_grown_cast(10)
    made.people = add_people(made)
    return made


def make_analysed_cast():
    made = make_grown_cast(10)
    made.people = add_people(made)
    for trait in TRAITS:
        analyse_trials(made.on, (2031,), trait, 1, stay_silent)
    return made


analysed = keep_books(make_analysed_cast)


def read_page(client, cast, role="breeder", query="?day=2031-12-01"):
    client.force_login(cast.people[role])
    answer = client.get(f"/analysis/{query}")
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize("role", ROLES)
def test_every_role_reads_the_analysis_and_only_the_desk_sees_the_form(client, analysed, role):
    page = read_page(client, analysed, role)
    assert ("Analyse yield, moisture and standing" in page) == (role in ("breeder", "technician"))


@pytest.mark.parametrize("role", ["crew_leader", "cooperator"])
def test_others_may_not_run_it(client, cast, role):
    client.force_login(cast.people[role])
    assert client.post("/analysis/?day=2031-12-01", {"year": ["2031"]}).status_code == 403
    assert not Result.objects.exists()


def test_without_an_analysis_the_page_says_so(client, cast):
    assert "There is no analysis" in read_page(client, cast)


def test_without_plot_data_the_page_says_what_to_do_first(client):
    cast = make_station()
    cast.people = add_people(cast)
    assert "Bring plot data in" in read_page(client, cast)


def test_the_page_shows_the_picture_its_table_twin_and_what_it_rests_on(client, analysed):
    page = read_page(client, analysed)
    grain = read_analysis(analysed.on)
    best = max(grain.of_kind("blup"), key=lambda one: one.value)
    assert 'role="img"' in page
    assert f"Highest yield: {best.line}, {best.value:,.0f} kg/ha" in page
    for one in grain.of_kind("blup"):
        assert one.line in page
        assert f"{one.value:,.0f}" in page
    assert f"± {best.se:,.0f}" in page
    assert grain.basis.as_text() in page
    assert "Not considered" in page
    assert "home-2031" in page


def test_the_picture_has_an_error_bar_each_way_for_every_entry(analysed):
    grain, water = (read_analysis(analysed.on, trait).of_kind("blup") for trait in TRAITS[:2])
    points = pair_entries(grain, water)
    svg = str(draw_entry_plot(points))
    for layer in ("layer_0", "layer_1"):
        bars = re.search(rf'<g class="mark-rule role-mark {layer}_marks".*?</g>', svg, re.DOTALL)
        assert bars[0].count("<line") == len(points)
    assert svg.count("CHECK-1") >= 1
    assert [one.name for one in points] == [one.line for one in sorted(grain, key=lambda one: -one.value)]


def test_the_front_holds_those_that_none_beats_in_both(analysed):
    points = pair_entries(*(read_analysis(analysed.on, trait).of_kind("blup") for trait in TRAITS[:2]))
    for one in points:
        beaten = any(
            two.yield_kg_ha_15_5 >= one.yield_kg_ha_15_5 and two.moisture_pct <= one.moisture_pct
            for two in points
            if two.name != one.name
        )
        assert one.on_front == (not beaten)


def test_lines_behind_the_entries_can_be_shown(client, analysed):
    page = read_page(client, analysed, query="?day=2031-12-01&of=lines")
    assert "lines by the mean of their hybrids" in page
    assert "not corrected for how good the testers were" in page


def test_without_moisture_there_is_no_picture_and_the_page_says_so(client, cast):
    analyse_trials(cast.on, (2031,), TRAITS[0], 1, stay_silent)
    page = read_page(client, cast)
    assert "no picture of yield against moisture" in page
    assert "Not analysed for these years: moisture" in page


def test_the_page_asks_the_books_as_often_after_three_analyses_as_after_one(client, analysed):
    read_page(client, analysed)
    with CaptureQueriesContext(connection) as before:
        read_page(client, analysed)
    for _ in range(2):
        analyse_trials(analysed.on, (2031,), TRAITS[0], 1, stay_silent)
    with CaptureQueriesContext(connection) as after:
        read_page(client, analysed)
    assert len(after) == len(before)
