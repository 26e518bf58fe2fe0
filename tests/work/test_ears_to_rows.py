"""Does the seed of selfed ears get its ear-to-row name, and is it told from which plant it comes?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.records.models import Line, LotOrigin
from firstsilk.work.seed.harvest import Picked, make_lots, record_harvest
from tests.factories import make_line, make_row, make_season, make_station, occasion, take_note

pytestmark = pytest.mark.django_db

JULY = occasion(date(2031, 7, 25))
ON = occasion(date(2031, 10, 1))


@pytest.fixture
def field():
    """Row 1 an F1 of E1 and M, row 2 the S1 family EK12-3 from plant 3 of EK12, row 3 a doubled haploid."""
    station = make_station()
    season = make_season(station)
    e1, m = make_line(station, "E1"), make_line(station, "M")
    crossed = make_line(station, "E1/M", method="cross", mother=e1, father=m, generation="F1")
    source = make_line(station, "EK12", method="founder", generation="S0")
    derived = {"derived_from": source, "derived_plant": "3", "derived_generation": "S0"}
    family = make_line(
        station, "EK12-3", method="self", mother=source, selfings=1, generation="S1", stands_for="family", **derived
    )
    fixed = make_line(station, "EK12-D4", method="dh", mother=source, generation="D1")
    return {at: make_row(season, at, line) for at, line in enumerate((crossed, family, fixed), 1)}


def self_and_shell(row, *ears):
    """Self a row; each ear is its kernels, with a bag where it is a pair."""
    for one in ears:
        bag = one[0] if isinstance(one, tuple) else ""
        take_note(JULY, row, "pollinated", 1, detail="self", bag=bag)
    picked = [
        Picked(row.number, 1, one[1], one[0]) if isinstance(one, tuple) else Picked(row.number, 1, one) for one in ears
    ]
    record_harvest(ON, "2031", picked)


def tell(name):
    line = Line.objects.get(name=name)
    source = line.derived_from.name if line.derived_from else ""
    return line.stands_for, line.generation, source, line.derived_plant, line.derived_generation


def test_selfed_ears_together_are_a_bulk_that_keeps_its_derivation(field):
    self_and_shell(field[1], 100, 120)
    self_and_shell(field[2], 90, 80)
    assert [one.line for one in make_lots(ON, "2031").lots] == ["(E1/M)-B", "EK12-3-B"]
    assert tell("(E1/M)-B") == ("bulk", "F2", "", "", "")
    assert tell("EK12-3-B") == ("bulk", "S2", "EK12", "3", "S0")


def test_one_selfed_ear_alone_is_a_family_from_the_next_plant_of_its_row(field):
    self_and_shell(field[1], 100)
    (lot,) = make_lots(ON, "2031").lots
    assert (lot.line, lot.name) == ("(E1/M)-1", "2031-0001-1")
    assert tell("(E1/M)-1") == ("family", "F2", "E1/M", "1", "F1")


def test_selfed_ears_kept_apart_are_each_a_family_and_a_lot_of_their_own(field):
    self_and_shell(field[2], ("BAG1", 90), ("BAG2", 80), ("BAG3", 70))
    made = make_lots(ON, "2031", ears_apart=True)
    assert not made.findings
    assert [(one.line, one.name, one.kernels) for one in made.lots] == [
        ("EK12-3-1", "2031-0002-1", 90),
        ("EK12-3-2", "2031-0002-2", 80),
        ("EK12-3-3", "2031-0002-3", 70),
    ]
    assert tell("EK12-3-2") == ("family", "S2", "EK12-3", "2", "S1")
    origins = LotOrigin.objects.filter(row=field[2]).order_by("pk")
    assert [one.bag for one in origins] == ["BAG1", "BAG2", "BAG3"]
    assert len({one.note for one in origins}) == 3


def test_ears_kept_apart_are_made_once_and_a_later_ear_is_the_next_plant(field):
    self_and_shell(field[2], ("BAG1", 90), ("BAG2", 80))
    make_lots(ON, "2031", ears_apart=True)
    for apart in (True, False):
        again = make_lots(ON, "2031", ears_apart=apart)
        assert (again.lots, again.findings) == ((), ())
    self_and_shell(field[2], ("BAG3", 70))
    assert [one.line for one in make_lots(ON, "2031", ears_apart=True).lots] == ["EK12-3-3"]


def test_ears_that_were_bulked_before_are_not_taken_apart_later(field):
    self_and_shell(field[2], ("BAG1", 90), ("BAG2", 80))
    assert [one.line for one in make_lots(ON, "2031").lots] == ["EK12-3-B"]
    again = make_lots(ON, "2031", ears_apart=True)
    assert (again.lots, again.findings) == ((), ())


def test_ears_without_a_bag_stay_a_bulk_beside_those_kept_apart(field):
    self_and_shell(field[2], ("BAG1", 90), 50)
    made = make_lots(ON, "2031", ears_apart=True)
    assert [(one.line, one.kernels) for one in made.lots] == [("EK12-3-1", 90), ("EK12-3-B", 50)]


def test_selfing_a_fixed_line_only_makes_more_of_it_even_ear_by_ear(field):
    self_and_shell(field[3], ("BAG1", 90), ("BAG2", 80))
    made = make_lots(ON, "2031", ears_apart=True)
    assert [(one.line, one.kernels, one.is_new_line) for one in made.lots] == [("EK12-D4", 170, False)]


def test_sibs_are_an_increase_that_keeps_generation_and_derivation(field):
    take_note(JULY, field[2], "pollinated", 4, detail="sib")
    record_harvest(ON, "2031", [Picked(2, 4, 300)])
    assert [one.line for one in make_lots(ON, "2031").lots] == ["EK12-3-#"]
    assert tell("EK12-3-#") == ("bulk", "S1", "EK12", "3", "S0")


def test_a_bulk_named_as_before_is_still_that_bulk(field):
    crossed = Line.objects.get(name="E1/M")
    make_line(crossed.station, "E1/M-B", method="self", mother=crossed, selfings=1, generation="F2", stands_for="bulk")
    self_and_shell(field[1], 100, 120)
    made = make_lots(ON, "2031")
    assert [(one.line, one.is_new_line) for one in made.lots] == [("E1/M-B", False)]
