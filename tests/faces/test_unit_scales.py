"""Can units of one scale not slip into sums of another, at the desk, in brought tables, and at the doors?"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.files.hybrids import read_hybrids
from firstsilk.faces.files.tables import read_table
from firstsilk.faces.files.unit_scales import FLOWERING_STAGES, settle_unit_scale
from firstsilk.work.lineage.newcomers import NewLine, add_line
from tests.faces.calling import call, weather_csv, write

HYBRIDS = "hybrid,units_to_black_layer,units_to_silk,scale\nEarly,2300,1200,chu\nLate,2600,1350,chu\n"


def test_a_table_that_names_another_scale_is_refused_line_by_line(tmp_path):
    path = write(tmp_path, HYBRIDS, "hybrids.csv")
    assert len(read_hybrids(path, "chu").needs) == 2
    with pytest.raises(InputRefused) as no:
        read_hybrids(path, "gdd_c")
    assert [(one.code, one.place.line, one.place.column) for one in no.value.findings] == [
        ("scale_differs", 2, "scale"),
        ("scale_differs", 3, "scale"),
    ]
    assert "these units are in chu, and gdd_c is asked for" in str(no.value.findings[0].as_text())


def test_a_column_of_another_scale_is_told_once_for_all_its_lines(tmp_path):
    lines = "line,units_to_silk,units_to_shed\n" + "".join(f"L{at},{690 + at},{680 + at}\n" for at in range(20))
    table = read_table(write(tmp_path, lines, "lines.csv"))
    told = settle_unit_scale(table.rows, "chu", FLOWERING_STAGES)
    assert [finding.place.column for finding in told] == ["units_to_silk", "units_to_shed"]
    assert "usual for gdd_c (so are 20 of 20 in this column)" in told[0].message
    assert not any(finding.stops for finding in told)
    assert settle_unit_scale(table.rows, "gdd_c", FLOWERING_STAGES) == ()


def test_the_nick_door_refuses_lines_of_another_scale_and_warns_of_units_that_look_so(tmp_path, capsys):
    days = [date(2026, 5, 1) + timedelta(days=at) for at in range(365 * 5)]
    weather = write(tmp_path, weather_csv([(day, 10, 26) for day in days]))
    crosses = write(tmp_path, "cross,female,male\nC1,A,B\n", "crosses.csv")
    lines = "line,units_to_silk,units_to_shed,scale\nA,640,620,{}\nB,660,650,{}\n"
    command = ["nick", crosses, write(tmp_path, lines.format("gdd_c", "gdd_c"), "lines.csv"), weather]
    span = ["--sow-from", "2031-05-10", "--sow-to", "2031-05-12"]
    code, out, err = call(capsys, *command, *span, "--scale", "chu")
    assert (code, out) == (1, "")
    assert "lines.csv, line 2, column scale: these units are in gdd_c, and chu is asked for" in err
    write(tmp_path, lines.format("", ""), "lines.csv")
    _, _, err = call(capsys, *command, *span, "--scale", "chu")
    assert "it would be usual for gdd_c" in err
    write(tmp_path, lines.format("gdd_c", ""), "lines.csv")
    code, _, err = call(capsys, *command, *span, "--scale", "gdd_c")
    assert code == 0
    assert "usual for" not in err


def test_the_forecast_door_refuses_rows_of_another_scale(tmp_path, capsys):
    days = [date(2026, 4, 1) + timedelta(days=at) for at in range(365 * 5 + 80)]
    weather = write(tmp_path, weather_csv([(day, 10, 26) for day in days]))
    rows = "row,sown,units_to_silk,units_to_shed,scale\n7,2031-05-12,640,620,gdd_c\n"
    command = ["forecast", write(tmp_path, rows, "rows.csv"), weather, "--today", "2031-06-10"]
    code, out, err = call(capsys, *command, "--scale", "chu")
    assert (code, out) == (1, "")
    assert err.startswith("rows.csv, line 2, column scale: these units are in gdd_c, and chu is asked for")
    assert call(capsys, *command, "--scale", "gdd_c")[0] == 0


@pytest.mark.django_db
def test_a_new_line_with_units_of_another_scale_is_kept_and_told(on):
    new = NewLine(name="ESK900", kind="line", stands_for="family", method="founder")
    added = add_line(on, replace(new, units_to_silk=690.0))
    assert [finding.code for finding in added.findings] == ["units_unusual"]
    assert add_line(on, replace(new, name="ESK901", units_to_silk=1290.0)).findings == ()
