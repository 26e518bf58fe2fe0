"""On an uneven field of open data, does the ground take out what neighbours share, and are entries told better?

Winter wheat at Alliance, Nebraska: 56 entries in four replicates, 22 columns by 11 rows (Stroup, Baenziger & Mulitze
1994 Crop Science 34:62), in the folder of published checks as `stroup.nin.csv`.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from firstsilk.science.analysis.lags import correlate_lags
from firstsilk.work.analysis import ground


@pytest.fixture
def wheat(checks_folder: Path) -> dict[str, list]:
    path = checks_folder / "data" / "stroup.nin.csv"
    if not path.is_file():
        pytest.skip(f"{path.name} is not in the folder of published checks")
    with path.open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["yield"] not in ("", "NA")]
    return {
        "values": [float(row["yield"]) for row in rows],
        "entries": [row["gen"] for row in rows],
        "replicates": [row["rep"] for row in rows],
        "field_row": [int(row["row"]) for row in rows],
        "field_col": [int(row["col"]) for row in rows],
    }


def test_the_surface_leaves_neighbours_alike_no_longer(wheat, monkeypatch) -> None:
    smooth = ground.find_ground(**wheat)
    monkeypatch.setattr(ground, "_plan_surface", lambda data: None)
    plain = ground.find_ground(**wheat)
    lags = [correlate_lags(wheat["field_row"], wheat["field_col"], found.left) for found in (plain, smooth)]
    assert lags[0].along_rows > 0.2
    assert lags[0].beyond_chance[0, 1]
    assert abs(lags[1].along_rows) < 0.1
    assert abs(lags[1].along_columns) < 0.1
    assert lags[1].beyond_chance.sum() < lags[0].beyond_chance.sum() / 3


def test_entries_are_told_apart_better_than_by_replicates_rows_and_columns(wheat, monkeypatch) -> None:
    smooth = ground.find_ground(**wheat, entries_fixed=True)
    monkeypatch.setattr(ground, "_plan_surface", lambda data: None)
    plain = ground.find_ground(**wheat, entries_fixed=True)
    assert smooth.mean_variance < 0.75 * plain.mean_variance
