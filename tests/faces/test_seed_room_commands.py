"""Do the commands of the seed room say what they change, and no in a sentence?"""

from __future__ import annotations

from datetime import date

import pytest
from django.test import Client

from firstsilk.records.models import Lot, LotOrigin, Movement, Row
from firstsilk.work.nursery.plan import Want, add_targets
from firstsilk.work.seed.lots import move_seed
from tests.faces.calling import call, one_object, rows_of
from tests.factories import (
    make_line,
    make_lot,
    make_row,
    make_season,
    make_station,
    make_weather,
    occasion,
    sign_in,
)

pytestmark = pytest.mark.django_db

DAY = ("--today", "2031-06-01")


@pytest.fixture
def lot():
    """200 kernels, 50 of them promised to a row."""
    made = make_lot(make_line(make_station(), "E1"), kernels=200)
    make_row(make_season(made.station), 1, made.line, lot=made, kernels=50, reserve=True)
    return made


def test_weigh_shows_before_and_after_and_books_unless_asked_to_look(lot, capsys):
    given = ("weigh", "E1-30", "--net-g", 45, "--sample", 100, "--sample-g", 25, *DAY)
    code, _, told = call(capsys, *given, "--look")
    assert (code, "Before 200 kernels, after 180 (-20)." in told, "Nothing was booked." in told) == (0, True, True)
    assert Movement.objects.count() == 1
    code, out, _ = call(capsys, *given, "--json")
    assert (code, one_object(out)["after"]) == (0, 180)
    assert Movement.objects.count() == 2


def test_germination_is_entered_and_listed_with_its_interval(lot, capsys):
    code, out, told = call(
        capsys, "germination", lot.tag, "--seeds", 100, "--germinated", 80, "--on", "2031-05-20", *DAY
    )
    assert (code, rows_of(out)[0]["germination"], rows_of(out)[0]["official"]) == (0, "0.8", "0")
    # Wilson for 80 of 100: 0.7112 to 0.8666 (any calculator of score intervals).
    assert (rows_of(out)[0]["low"], rows_of(out)[0]["high"]) == ("0.7112", "0.8666")
    assert "not an official test" in told
    assert call(capsys, "germination", lot.tag, *DAY)[1] == out


def test_split_and_bulk_name_their_parents(lot, capsys):
    code, out, _ = call(capsys, "split", "E1-30", "part", "--kernels", 60, *DAY)
    assert (code, rows_of(out)[0]["after"]) == (0, "140")
    code, out, _ = call(capsys, "bulk", "mixed", "E1-30=30", "part=10", *DAY)
    assert (code, [row["share"] for row in rows_of(out)]) == (0, ["0.75", "0.25"])
    assert "From lot E1-30." in call(capsys, "lot", "part", *DAY)[2]
    told = call(capsys, "lot", "mixed", *DAY)[2]
    assert "From lot E1-30, share 75%." in told
    assert "From lot part, share 25%." in told


def test_place_and_box_find_each_other_and_tell_a_shared_slot(lot, capsys):
    make_lot(make_line(lot.station, "E2"), kernels=9, shelf="A", box="3", slot="1")
    code, _, told = call(capsys, "place", "E1-30", "--shelf", "A", "--box", "3", "--slot", "1", *DAY)
    assert (code, "2 lots lie in one slot (A / 3 / 1)" in told, "before: nowhere" in told) == (0, True, True)
    code, out, _ = call(capsys, "box", "--box", "3", *DAY)
    assert [row["lot"] for row in rows_of(out)] == ["E1-30", "E2-30"]


def test_promises_are_listed_and_given_up(lot, capsys):
    code, out, _ = call(capsys, "promises", *DAY)
    assert (code, rows_of(out)[0]["used_for"]) == (0, "row 1 of 2031")
    code, out, told = call(capsys, "promises", "--release-row", 1, "--season", "2031", "--why", "no room", *DAY)
    assert (code, rows_of(out), "50 kernels are free again." in told) == (0, [], True)


def test_keeping_says_why_by_the_numbers_given(lot, capsys):
    code, out, _ = call(capsys, "keeping", "--keep-kernels", 1000, *DAY)
    assert (code, rows_of(out)[0]["advice"]) == (0, "regrow")
    assert "needs 1,050" in rows_of(out)[0]["why"]
    assert rows_of(call(capsys, "keeping", "--keep-kernels", 10, "--oldest-years", 0, *DAY)[1])[0]["advice"] == "regrow"


def test_remnant_lists_the_increases_of_a_season(lot, capsys):
    code, out, _ = call(capsys, "remnant", "--season", "2031", *DAY)
    assert (code, rows_of(out)[0]["increases"]) == (0, "0")


@pytest.mark.parametrize(
    ("given", "code", "told"),
    [
        (("weigh", "E1-30", "--net-g", "45"), 1, "weight of a kernel of this lot is not known"),
        (("weigh", "E1-30", "--net-g", "nan", "--sample", "9", "--sample-g", "2"), 1, "is not the weight of a lot"),
        (("weigh", "E1-30", "--net-g", "45", "--sample", "9"), 1, "counted but not weighed"),
        (("germination", "E1-30", "--seeds", "10"), 2, "together"),
        (("germination", "E1-30", "--seeds", "10", "--germinated", "11"), 1, "cannot have germinated"),
        (("germination", "E1-30", "--seeds", "9", "--germinated", "8", "--on", "May"), 1, "May"),
        (("split", "E1-30", "part", "--kernels", "151"), 1, "promised to the plan"),
        (("bulk", "b", "E1-30", "part=3"), 1, "'E1-30' is not a lot with its kernels"),
        (("bulk", "b", "E1-30=9"), 1, "two lots or more"),
        (("place", "E1-30"), 1, "No place was named"),
        (("promises", "--release-row", "9", "--season", "2031"), 1, "Nothing is promised to row 9"),
        (("promises", "--release-trial", "T"), 1, "There is no trial"),
        (("keeping", "--regrow-below", "85"), 1, "is not in 0..1"),
        (("keeping", "E9"), 1, "There is no line"),
    ],
)
def test_what_cannot_be_is_told_and_changes_nothing(lot, capsys, given, code, told):
    found, _, said = call(capsys, *given, *DAY)
    assert (found, told in " ".join(said.split())) == (code, True), said
    assert (Movement.objects.count(), Lot.objects.count()) == (1, 1)


def test_a_plan_names_an_increase_that_is_not_sown_from_remnant_seed(lot, capsys):
    row = Row.objects.get()
    move_seed(occasion(date(2031, 6, 1)), lot.name, 200, "discarded")
    increase = make_lot(lot.line, kernels=900, name="increase", origin="pollinations")
    LotOrigin.objects.create(station=lot.station, lot=increase, row=row)
    make_weather(lot.station, 2029, date(2031, 5, 31))
    make_season(lot.station, "2032")
    add_targets(occasion(date(2032, 4, 1)), "2032", [Want("self", "E1", ears=3)])
    code, out, told = call(capsys, "plan", "2032", "--json", "--today", "2032-04-01")
    assert (code, [one["code"] for one in one_object(out)["findings"]]) == (0, ["increase_from_increase"])
    assert "No remnant seed of it is free" in told
    client = Client()
    sign_in(client, lot.station, "breeder")
    page = client.get("/nursery/plan/?season=2032&day=2032-04-01").content.decode()
    assert "Row 1 increases E1 from lot increase" in page
