"""Does the page about the tables say what the code reads?"""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

from firstsilk.faces.files.layout_page import render_layout_page
from firstsilk.faces.files.station import GIVEN
from firstsilk.work.bring.layouts import LAYOUTS

PAGE = Path(__file__).parents[2] / "docs" / "tables.md"


def test_the_page_of_tables_is_the_one_that_the_code_writes():
    assert PAGE.read_text(encoding="utf-8") == render_layout_page()


def test_every_column_has_a_field_of_its_own_name_and_every_field_a_column():
    for layout in LAYOUTS:
        named = {field.name for field in fields(GIVEN[layout.name])} - {"at_file", "at_line", "in_fahrenheit"}
        assert named == {name for name in layout.names if not name.endswith("_f")}


def test_every_example_lies_within_its_columns_own_limits():
    for layout in LAYOUTS:
        for column in layout.columns:
            if not column.example:
                assert not column.wanted
                continue
            assert not column.choices or column.example in column.choices
            assert not column.longest or len(column.example) <= column.longest
            limits = (column.low, column.odd_low), (column.high, column.odd_high)
            assert all(low is None or float(column.example) >= low for low in limits[0])
            assert all(high is None or float(column.example) <= high for high in limits[1])
