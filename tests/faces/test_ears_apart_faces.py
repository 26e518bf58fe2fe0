"""Are selfed ears kept apart from the harvest page and by command?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.faces.command.main import run
from firstsilk.records.models import Line
from firstsilk.work.accounts import add_account
from firstsilk.work.seed.harvest import Picked, record_harvest
from tests.factories import make_line, make_row, make_season, make_station, occasion, take_note

pytestmark = pytest.mark.django_db
PASSWORD = "long enough for a test"  # one for all accounts of these tests


@pytest.fixture
def _shelled(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path
    station = make_station()
    row = make_row(make_season(station), 1, make_line(station, "EK12", method="founder", generation="S0"))
    for bag in ("BAG1", "BAG2"):
        take_note(occasion(date(2031, 7, 25)), row, "pollinated", 1, detail="self", bag=bag)
    record_harvest(occasion(date(2031, 10, 1)), "2031", [Picked(1, 1, 90, "BAG1"), Picked(1, 1, 80, "BAG2")])


def _list_new():
    return sorted(Line.objects.exclude(name="EK12").values_list("name", flat=True))


@pytest.mark.usefixtures("_shelled")
@pytest.mark.parametrize(("asked", "lines"), [({}, ["EK12-B"]), ({"ears_apart": "on"}, ["EK12-1", "EK12-2"])])
def test_page_when_ears_are_kept_apart_then_each_is_a_line(client, asked, lines):
    add_account(occasion(date(2031, 10, 1)), "breeder", PASSWORD, "breeder")
    assert client.login(username="breeder", password=PASSWORD)
    assert 'name="ears_apart"' in client.get("/seed/harvest/?season=2031&day=2031-10-02").content.decode()
    assert client.post("/seed/harvest/lots/?season=2031&day=2031-10-02", asked).status_code == 302
    assert _list_new() == lines


@pytest.mark.usefixtures("_shelled")
def test_command_when_ears_are_kept_apart_then_each_is_a_line(capsys):
    assert run(["harvest", "--lots", "--ears-apart", "--season", "2031", "--today", "2031-10-02"]) == 0
    assert _list_new() == ["EK12-1", "EK12-2"]
    assert "2031-0001-1" in capsys.readouterr().out


def test_command_when_ears_apart_stands_without_lots_then_exit_two():
    assert run(["harvest", "--ears-apart"]) == 2
