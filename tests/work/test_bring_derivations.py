"""Do tables say from which plant a line comes, by columns or by ear-to-row names, and is nothing read silently?"""

from __future__ import annotations

import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line
from firstsilk.work.bring.store import bring_station
from tests.work.test_bring import tables_of

pytestmark = pytest.mark.django_db
HEAD = "line,stands_for,method,mother,selfings,generation,derived_from,derived_plant,derived_generation\n"


def bring_lines(on, *rows):
    return bring_station(on, tables_of({"lines.csv": HEAD + "".join(f"{row}\n" for row in rows)}))


def tell(name):
    line = Line.objects.get(name=name)
    source = line.derived_from.name if line.derived_from else ""
    return line.stands_for, source, line.derived_plant, line.derived_generation


def test_columns_when_given_then_kept_wherever_the_line_stands(on):
    brought = bring_lines(
        on, "N2,family,self,N1,1,S2,N1,7,", "N1,family,self,N0,1,S1,N0,3,S0", "N0,plant,founder,,,S0,,,"
    )
    assert brought.findings == ()
    assert tell("N1") == ("family", "N0", "3", "S0")
    assert tell("N2") == ("family", "N1", "7", "S1")


def test_names_when_they_go_on_from_the_mothers_then_read_and_told_once(on):
    brought = bring_lines(
        on,
        "EK9-3-B,,self,EK9-3,1,S2,,,",
        "EK9,family,founder,,,S0,,,",
        "EK9-3,,self,EK9,1,S1,,,",
        "EK9-3-B*2,,self,EK9-3-B,1,S3,,,",
        "EK9-3-D4,,dh,EK9-3,,D1,,,",
    )
    (finding,) = brought.findings
    assert (finding.code, finding.stops, finding.place.line) == ("derived_by_name", False, 2)
    assert "a bulk from plant 3 of EK9 (S0), and is written so (so are 3 more lines" in finding.message
    assert tell("EK9-3") == ("family", "EK9", "3", "S0")
    assert tell("EK9-3-B") == tell("EK9-3-B*2") == ("bulk", "EK9", "3", "S0")
    assert tell("EK9-3-D4") == ("family", "EK9-3", "4", "D0")


@pytest.mark.parametrize(
    "row",
    ["EK9-3,bulk,self,EK9,1,S1,,,", "EK9-3-1,,self,EK9,2,S2,,,", "EK9-3,,founder,,,S1,,,", "EK9-x,,self,EK9,1,S1,,,"],
)
def test_names_when_they_may_mean_something_else_then_nothing_is_read(on, row):
    brought = bring_lines(on, "EK9,family,founder,,,S0,,,", row)
    assert brought.findings == ()
    assert tell(row.split(",")[0])[1:] == ("", "", "")


def test_line_in_the_books_when_its_columns_come_later_then_filled_and_not_made_over_by_its_name(on):
    bring_lines(on, "EK9,family,founder,,,S0,,,", "EK9-3,bulk,self,EK9,1,S1,,,")
    again = bring_lines(on, "EK9-3,,self,EK9,1,S1,,,")
    assert (again.findings, tell("EK9-3")) == ((), ("bulk", "", "", ""))
    bring_lines(on, "EK9-3,,self,EK9,1,S1,EK9,3,S0")
    assert tell("EK9-3") == ("bulk", "EK9", "3", "S0")
    with pytest.raises(InputRefused, match=r"lines\.csv, line 2, column derived_plant.*the books hold '3'"):
        bring_lines(on, "EK9-3,,self,EK9,1,S1,EK9,4,S0")


@pytest.mark.parametrize(
    ("row", "told"),
    [
        ("EK9-3,,self,EK9,1,S1,EK8,3,S0", r"lines\.csv, line 3, column derived_from: .*not in the books.*'EK8'"),
        (
            "EK9-3,,self,EK9,1,S1,EK9-3,3,S0",
            r"lines\.csv, line 3, column derived_from: it comes from a plant of its own",
        ),
    ],
)
def test_columns_when_they_cannot_be_then_nothing_is_brought(on, row, told):
    before = Line.objects.count()
    with pytest.raises(InputRefused, match=told):
        bring_lines(on, "EK9,family,founder,,,S0,,,", row)
    assert Line.objects.count() == before


def test_plant_when_not_of_an_earlier_generation_then_warned(on):
    brought = bring_lines(on, "EK9,family,founder,,,S0,,,", "EK9-3,,self,EK9,1,S1,EK9,3,S2")
    codes = [finding.code for finding in brought.findings]
    assert codes == ["derived_generation_odd", "derived_generation_late"]
