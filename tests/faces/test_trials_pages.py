"""Do the pages of trials show the field, take data whole or not at all, and keep to their roles?"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firstsilk.faces.pages.trials.field_map import MOST_CELLS, draw_map
from firstsilk.records.models import Plot, PlotRecord, Trial
from firstsilk.work.occasion import stay_silent
from firstsilk.work.trials.lay_out import design_trial
from firstsilk.work.trials.plot_data import PlotReading, record_plot_data
from firstsilk.work.trials.reading import read_trial
from tests.trial_cast import add_hybrids, add_lines, add_people, make_station

pytestmark = pytest.mark.django_db
ROLES = ("breeder", "technician", "crew_leader", "cooperator")
DESK = ("breeder", "technician")


@pytest.fixture
def cast():
    made = make_station()
    add_hybrids(made, add_lines(made, 4), kernels=3000)
    lay_out(made, "FIRST-31")
    made.people = add_people(made)
    return made


def lay_out(cast, name):
    entries = ["N-T/S01", "S-T/N00", "S-T/N02"]
    return design_trial(cast.on, name, "FIRST", "tarn", 2031, entries, ["CHECK-1"], 2, 8.0, 75, 1, stay_silent)


def enter(client, cast, role):
    client.force_login(cast.people[role])
    return client


def send(client, text, name="data.csv"):
    file = SimpleUploadedFile(name, text.encode())
    return client.post("/trials/of/FIRST-31/data/", {"file": file})


ADDRESSES = (
    "/trials/",
    "/trials/testcrosses/",
    "/trials/of/FIRST-31/",
    "/trials/of/FIRST-31/packets/",
    "/trials/of/FIRST-31/packets.csv",
    "/trials/of/FIRST-31/data-sheet.csv",
)


@pytest.mark.parametrize("role", ROLES)
def test_every_role_reads_the_trials(client, cast, role):
    enter(client, cast, role)
    assert {address: client.get(address).status_code for address in ADDRESSES} == dict.fromkeys(ADDRESSES, 200)
    assert client.get("/trials/new/").status_code == (200 if role in DESK else 403)


@pytest.mark.parametrize("role", ROLES)
def test_only_the_desk_changes_trials(client, cast, role):
    enter(client, cast, role)
    allowed = role in DESK
    assert (send(client, "plot,weight_kg\n1,7\n").status_code == 200) == allowed
    assert PlotRecord.objects.exists() == allowed
    assert (client.post("/trials/of/FIRST-31/packets/").status_code == 302) == allowed
    assert (b"Check and store" in client.get("/trials/of/FIRST-31/").content) == allowed


def test_the_page_of_a_trial_draws_each_plot_and_marks_checks_by_letter_and_shape(client, cast):
    page = enter(client, cast, "breeder").get("/trials/of/FIRST-31/").content.decode()
    assert page.count('<a href="#plot-') == 8
    assert page.count('<tr id="plot-') == 8
    assert page.count('<polygon points="') == 2 + 1  # two check plots and the key
    assert "CHECK-1 (check)" in page
    assert "8 plots have no record yet" in page


def test_the_map_shades_by_yield_and_crosses_out_what_is_rejected(cast):
    readings = [PlotReading(plot, 6.0 + plot, 22.0, rejected="run over" if plot == 3 else "") for plot in range(1, 9)]
    record_plot_data(cast.on, "FIRST-31", readings, "test")
    plots = read_trial(cast.on, "FIRST-31").plots
    drawn = draw_map(plots)
    fills = {cell.number: cell.fill for cell in drawn.cells}
    assert fills[1] != fills[8]
    assert fills[3] == "#ffffff"
    assert [cell.number for cell in drawn.cells if cell.is_rejected] == [3]
    assert "rejected: run over" in next(cell.says for cell in drawn.cells if cell.number == 3)
    assert len({(cell.x, cell.y) for cell in drawn.cells}) == 8


def test_a_trial_without_places_or_with_too_many_plots_is_not_drawn(client, cast):
    plots = read_trial(cast.on, "FIRST-31").plots
    assert draw_map(plots * (MOST_CELLS // 8 + 1)) is None
    Plot.objects.filter(number=1).update(field_row=None)
    assert draw_map(read_trial(cast.on, "FIRST-31").plots) is None
    page = enter(client, cast, "breeder").get("/trials/of/FIRST-31/").content.decode()
    assert "has no complete map" in page


def test_plot_data_sent_is_stored_and_doubts_are_shown(client, cast):
    enter(client, cast, "technician")
    page = send(client, "plot,weight_kg,moisture_pct\n1,7.1,22.0\n2,7.3,50.0\n").content.decode()
    assert "2 records stored" in page
    assert "moisture outside 8 to 45 %" in page
    assert PlotRecord.objects.count() == 2
    again = send(client, "plot,weight_kg,moisture_pct\n1,7.1,22.0\n2,7.3,50.0\n").content.decode()
    assert "nothing new" in again
    assert PlotRecord.objects.count() == 2


def test_a_bad_file_changes_nothing_and_every_finding_is_shown(client, cast):
    enter(client, cast, "technician")
    answer = send(client, "plot,weight_kg,moisture_pct\n1,7.1,22.0\n77,7.3,22.0\n2,-1,22.0\n")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "Nothing was changed" in page
    assert "the trial has no such plot" in page
    assert "a weight is not below 0" in page
    assert not PlotRecord.objects.exists()


def test_a_renamed_column_is_told_with_the_name_it_should_have(client, cast):
    answer = send(enter(client, cast, "breeder"), "plot,grain_weight\n1,7\n")
    assert answer.status_code == 422
    assert "weight_kg" in answer.content.decode()


def test_no_file_is_told_in_a_sentence(client, cast):
    answer = enter(client, cast, "breeder").post("/trials/of/FIRST-31/data/")
    assert answer.status_code == 422
    assert "No file was sent" in answer.content.decode()


def test_a_trial_can_be_laid_out_from_the_form(client, cast):
    enter(client, cast, "breeder")
    form = {
        "name": "SECOND/32", "series": "S", "site": "fell", "year": "2032", "replicates": "3", "plot_area_m2": "7,5",
        "kernels_per_plot": "80", "seed": "4", "entry": ["S-T/N00"], "check": ["CHECK-1", "CHECK-2"],
        "more_entries": "N-T/S01\n N-T/S03 \n", "plots_in_a_field_row": "",
    }  # fmt: skip
    answer = client.post("/trials/new/", form, follow=True)
    assert answer.status_code == 200
    assert answer.request["PATH_INFO"] == "/trials/of/SECOND/32/"
    trial = read_trial(cast.on, "SECOND/32")
    assert (len(trial.plots), trial.plot_area_m2, trial.kernels_per_plot) == (15, 7.5, 80)


def test_a_form_without_seed_enough_shows_the_facts_and_makes_nothing(client, cast):
    form = {"name": "BIG", "site": "fell", "year": "2032", "replicates": "20", "plot_area_m2": "8",
            "kernels_per_plot": "500", "seed": "1", "entry": ["S-T/N00", "N-T/S01"]}  # fmt: skip
    answer = enter(client, cast, "breeder").post("/trials/new/", form)
    assert answer.status_code == 422
    assert "10000 kernels wanted" in answer.content.decode()
    assert not Trial.objects.filter(name="BIG").exists()


def test_packing_from_the_page_books_the_seed_out_once(client, cast):
    enter(client, cast, "technician")
    page = client.post("/trials/of/FIRST-31/packets/", follow=True).content.decode()
    assert "600 kernels are booked out" in page
    assert "The seed has left its lots" in page
    assert "Book all packets" not in page


def test_the_tables_to_take_away_hold_every_plot_in_order(client, cast):
    enter(client, cast, "cooperator")
    packets = client.get("/trials/of/FIRST-31/packets.csv").content.decode().splitlines()
    sheet = client.get("/trials/of/FIRST-31/data-sheet.csv").content.decode().splitlines()
    assert packets[0].startswith("order,plot,tag")
    assert [line.split(",")[0] for line in sheet[1:]] == [str(k) for k in range(1, 9)]
    assert len(packets) == 9


def test_the_packet_list_is_printed_for_trials_laid_out_here(client, cast):
    enter(client, cast, "crew_leader")
    answer = client.get("/trials/of/FIRST-31/packets.pdf")
    assert answer.content.startswith(b"%PDF-")
    assert answer.headers["Content-Disposition"] == 'inline; filename="packets-FIRST-31.pdf"'
    Plot.objects.filter(number=2).update(lot=None)
    answer = client.get("/trials/of/FIRST-31/packets.pdf")
    assert answer.status_code == 422
    assert "laid out here" in answer.content.decode()


def test_the_data_sheet_filled_in_is_read_back(client, cast):
    enter(client, cast, "technician")
    head, *lines = client.get("/trials/of/FIRST-31/data-sheet.csv").content.decode().splitlines()
    columns = head.split(",")
    filled = []
    for line in lines:
        cells = dict(zip(columns, line.split(","), strict=True))
        cells |= {"weight_kg": "7.2", "moisture_pct": "23"}
        filled.append(",".join(cells[name] for name in columns))
    assert "8 records stored" in send(client, "\n".join([head, *filled]) + "\n").content.decode()


def test_names_are_shown_as_text_and_never_as_markup(client, cast):
    Trial.objects.filter(name="FIRST-31").update(series="<script>alert(1)</script>")
    page = enter(client, cast, "breeder").get("/trials/").content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


def test_an_unknown_trial_is_a_sentence_with_those_there_are(client, cast):
    answer = enter(client, cast, "breeder").get("/trials/of/nothing/")
    assert answer.status_code == 422
    assert "FIRST-31" in answer.content.decode()


def count_queries(client, address):
    with CaptureQueriesContext(
        connection,
    ) as found:
        assert client.get(address).status_code == 200
    return len(found)


@pytest.mark.parametrize(
    "address", ["/trials/", "/trials/of/FIRST-31/", "/trials/of/FIRST-31/packets/", "/trials/new/"]
)
def test_pages_ask_the_books_as_often_for_three_trials_as_for_one(client, cast, address):
    enter(client, cast, "breeder")
    record_plot_data(cast.on, "FIRST-31", [PlotReading(1, 7.0, 22.0)], "test")
    client.get(address)
    before = count_queries(client, address)
    for name in ("A", "B"):
        lay_out(cast, name)
        record_plot_data(cast.on, name, [PlotReading(1, 7.0, 22.0)], "test")
    readings = [PlotReading(k, 7.0, 22.0) for k in range(1, 9)]
    later = cast.on.__class__(cast.on.station, cast.on.today, cast.on.now + timedelta(hours=1), cast.on.who)
    record_plot_data(later, "FIRST-31", readings, "test")
    assert count_queries(client, address) == before
