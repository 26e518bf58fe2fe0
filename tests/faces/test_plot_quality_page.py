"""Do page and command of a trial's doubtful plots show findings, map and table, and keep to few queries?"""

from __future__ import annotations

import json

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.faces.command import plot_quality_year
from firstsilk.faces.command.plot_quality_year import plot_quality
from tests.trial_cast import add_people, make_station
from tests.work.test_plot_quality import put_in, spoilt

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast():
    made = make_station()
    put_in(made, "Q-31", spoilt())
    made.people = add_people(made)
    return made


@pytest.mark.parametrize("role", ["breeder", "cooperator"])
def test_page_shows_findings_map_and_table(client, cast, role):
    client.force_login(cast.people[role])
    with CaptureQueriesContext(
        connection,
    ) as asked:
        page = client.get("/trials/of/Q-31/quality/").content.decode()
    assert len(asked) < 30
    assert "recorded one plot late" in page
    assert "look for two plots in one record" in page
    assert page.count('<a href="#plot-') == 72
    assert page.count('<tr id="plot-') == 72
    assert ("plot data in" in page) == (role == "breeder")
    trial = client.get("/trials/of/Q-31/").content.decode()
    assert "/trials/of/Q-31/quality/" in trial


def test_page_when_the_trial_is_unknown_then_not_found(client, cast):
    client.force_login(cast.people["breeder"])
    assert client.get("/trials/of/NOWHERE/quality/").status_code in (404, 422)


def test_command_gives_findings_and_writes_the_map(cast, monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(plot_quality_year, "open_books", lambda station, today: cast.on)
    plot_quality("Q-31", picture=str(tmp_path / "map.svg"), as_json=True)
    told = json.loads(capsys.readouterr().out)
    assert told["rows"][0]["code"] == "shifted_pass"
    assert told["trial"] == "Q-31"
    assert (tmp_path / "map.svg").read_text().startswith("<svg")
