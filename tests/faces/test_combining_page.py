"""Do page and command of combining ability show lines with intervals, and say plainly when there is nothing to show?"""

from __future__ import annotations

import json

import pytest

from firstsilk.faces.command.main import run
from firstsilk.records.models import Line
from firstsilk.work.analysis.combining import read_combining_ability
from tests.trial_cast import add_people, make_grown_cast

pytestmark = pytest.mark.django_db
ADDRESS = "/analysis/combining/?day=2031-12-01"


@pytest.fixture
def cast():
    made = make_grown_cast(10)
    made.people = add_people(made)
    return made


def read(client, cast, role="breeder", address=ADDRESS):
    client.force_login(cast.people[role])
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize("role", ["breeder", "technician", "crew_leader", "cooperator"])
def test_every_role_reads_each_line_with_its_interval(client, cast, role):
    page = read(client, cast, role)
    found = read_combining_ability(cast.on)
    assert page.count("<tr><td>") >= len(found.lines) + len(found.testers)
    best = found.lines[0]
    assert f"the best is {best.line} with +{best.value:,.0f} kg/ha" in page
    for one in found.lines:
        assert f'/lineage/line/{one.line}/">{one.line}</a>' in page
        assert f"{one.low:+,.0f}".replace("-", "−") in page


def test_another_trait_is_told_in_its_unit_and_less_is_better(client, cast):
    page = read(client, cast, address=f"{ADDRESS}&trait=moisture_pct")
    lowest = min(read_combining_ability(cast.on, (), "moisture_pct").lines, key=lambda one: one.value)
    assert f"the best is {lowest.line} with −{-lowest.value:.1f} % moisture" in page
    first = page.split("<tbody>")[1].split("</a>")[0]
    assert first.endswith(lowest.line)


def test_without_testcrosses_the_page_says_what_to_do(client, cast):
    Line.objects.filter(station=cast.station).update(is_tester=False)
    assert "Mark the testers among the lines" in read(client, cast)
    assert "No plot of 1999 tells" in read(client, cast, address=f"{ADDRESS}&year=1999")


def test_the_analysis_leads_to_it(client, cast):
    assert 'href="/analysis/combining/"' in read(client, cast, address="/analysis/?day=2031-12-01")


def test_command_gives_the_same_figures(cast, capsys):
    assert run(["combining-ability", "--today", "2031-12-01", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    found = read_combining_ability(cast.on)
    assert [(one["line"], one["value"]) for one in answer["lines"]] == [(one.line, one.value) for one in found.lines]
    assert answer["model"] == found.model
    assert run(["combining-ability", "--today", "2031-12-01", "--years", "2031"]) == 0
    rows = capsys.readouterr().out.splitlines()
    assert rows[0] == "effect,line,tester,value,low,high,reliability,n_plots"
    assert len(rows) == 1 + len(found.lines) + len(found.testers)
    assert run(["combining-ability", "--years", "31"]) == 1
    assert "is no list of years" in capsys.readouterr().err
