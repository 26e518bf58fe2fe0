"""Laws of bringing: whatever stands in a cell is stored or refused with its place, and never half of anything."""

from __future__ import annotations

import csv
import io

from django.apps import apps
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from firstsilk.answers import Finding, InputRefused
from firstsilk.faces.files.station import read_station_files
from firstsilk.faces.files.tables import csv_text
from firstsilk.work.bring.layouts import LAYOUTS
from firstsilk.work.bring.store import bring_station
from tests.small_station import NEW_OCCASION, SMALL_STATION

CELLS = st.one_of(
    st.text(max_size=20),
    st.floats().map(str),
    st.integers().map(str),
    st.dates().map(str),
    st.sampled_from(["", "0", "1", "-1", "1e400", "1e9", "NaN", "2031-05-18", "E1", "E1/E2", "2031W", "self", "١٢"]),
)


def count_books() -> dict[str, int]:
    return {model.__name__: model.objects.count() for model in apps.get_app_config("records").get_models()}


LONGEST = max(text.count("\n") for text in SMALL_STATION.values())


def try_to_bring(files: dict[str, bytes]) -> tuple[Finding, ...] | None:
    """The findings if the station was refused, None if it was stored."""
    try:
        bring_station(NEW_OCCASION, read_station_files(files))
    except InputRefused as error:
        return error.findings
    return None


@st.composite
def spoilt_stations(draw: st.DrawFn) -> tuple[dict[str, bytes], int]:
    """The small station with one to three cells of one table written anew."""
    layout = draw(st.sampled_from(LAYOUTS))
    name = f"{layout.name}.csv"
    lines = list(csv.reader(io.StringIO(SMALL_STATION[name])))
    for _ in range(draw(st.integers(1, 3))):
        line = draw(st.integers(1, len(lines) - 1))
        lines[line][draw(st.integers(0, len(lines[0]) - 1))] = draw(CELLS)
    files = {**SMALL_STATION, name: csv_text(lines[0], lines[1:])}
    return {name: text.encode() for name, text in files.items()}, len(lines)


class BringLaws(TestCase):
    @settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
    @given(spoilt_stations())
    def test_any_cell_when_brought_is_stored_whole_or_refused_with_its_place(
        self, spoilt: tuple[dict[str, bytes], int]
    ) -> None:
        files, n_lines = spoilt
        before = count_books()
        findings = try_to_bring(files)
        if findings is not None:
            event("refused")
            assert count_books() == before
            assert any(finding.stops for finding in findings)
            for finding in findings:
                assert finding.place.file.endswith(".csv")
                assert finding.place.line is None or 1 <= finding.place.line <= max(n_lines, LONGEST)
            return
        event("stored")
        after = count_books()
        assert after["Station"] == before["Station"] + 1
        assert bring_station(NEW_OCCASION, read_station_files(files)).n_new == 0
        assert count_books() == after

    @settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
    @given(st.sampled_from([layout.name for layout in LAYOUTS]), st.binary(max_size=200))
    def test_any_bytes_when_brought_as_a_table_are_refused_or_stored_and_never_a_fault(
        self, table: str, content: bytes
    ) -> None:
        files = {name: text.encode() for name, text in SMALL_STATION.items()}
        files[f"{table}.csv"] = content
        before = count_books()
        findings = try_to_bring(files)
        if findings is not None:
            assert any(finding.stops for finding in findings)
            assert count_books() == before

    @settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
    @given(st.data())
    def test_the_order_of_lines_when_shuffled_makes_the_same_station(self, data: st.DataObject) -> None:
        lines = SMALL_STATION["lines.csv"].splitlines()
        shuffled = "\n".join([lines[0], *data.draw(st.permutations(lines[1:]))])
        files = {**SMALL_STATION, "lines.csv": shuffled}
        bring_station(NEW_OCCASION, read_station_files({name: text.encode() for name, text in files.items()}))
        found = apps.get_model("records", "Line").objects.values_list("name", "mother__name", "father__name")
        assert set(found) == {
            ("E1", None, None),
            ("E2", None, None),
            ("E1/E2", "E1", "E2"),
            ("E3-1", "E1/E2", None),
            ("E3-1-4", "E3-1", None),
        }
