"""What do the tests of the weather doors share? Files to write, and the doors to call."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from firstsilk.faces.command.main import run

FIVE_DAYS = (
    "date,tmin_c,tmax_c\n2031-05-01,10,20\n2031-05-02,10,25\n2031-05-03,14,28\n2031-05-04,6,9\n2031-05-05,15,30\n"
)


def write(folder: Path, text: str, name: str = "weather.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def weather_csv(days: Iterable[tuple[date, object, object]], header: str = "date,tmin_c,tmax_c") -> str:
    return header + "\n" + "".join(f"{day},{low},{high}\n" for day, low, high in days)


def steady_year(year: int, frosts: Sequence[date] = (), low: float = 5.0) -> list[tuple[date, object, object]]:
    """Every day of a year at one minimum, but -3 °C on the frost days."""
    every = [date(year, 1, 1) + timedelta(days=step) for step in range((date(year + 1, 1, 1) - date(year, 1, 1)).days)]
    return [(day, -3.0 if day in frosts else low, 20.0) for day in every]


def call(capsys: pytest.CaptureFixture[str], *arguments: object) -> tuple[int, str, str]:
    """Run one command line; give exit code, standard output, standard error."""
    code = run([str(argument) for argument in arguments])
    told = capsys.readouterr()
    return code, told.out, told.err


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def one_object(text: str) -> dict[str, Any]:
    assert text.count("\n") == 1
    answer = json.loads(text)
    assert isinstance(answer, dict)
    return answer


def seattle_days() -> list[tuple[date, float, float]]:
    """Daily minima and maxima of Seattle, 2012-2015 (the `vega_datasets` package; NOAA records)."""
    package = pytest.importorskip("vega_datasets")
    path = Path(package.__file__).parent / "_data" / "seattle-weather.csv"
    if not path.is_file():
        pytest.skip("the vega_datasets package here does not carry the Seattle series")
    with path.open(encoding="utf-8", newline="") as file:
        return [
            (date.fromisoformat(row["date"].replace("/", "-")[:10]), float(row["temp_min"]), float(row["temp_max"]))
            for row in csv.DictReader(file)
        ]
