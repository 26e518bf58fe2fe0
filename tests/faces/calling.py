"""How do the tests of a door call it, and read what it gives?"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from firstsilk.faces.command.main import run


def write(folder: Path, text: str, name: str = "weather.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


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


def weather_csv(days: Iterable[tuple[date, object, object]], header: str = "date,tmin_c,tmax_c") -> str:
    return header + "\n" + "".join(f"{day},{low},{high}\n" for day, low, high in days)
