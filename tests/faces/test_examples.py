"""Does every worked example still give what is written beside it?

Each folder in `examples/` holds input files, `command.txt` (one line), the expected standard output as `expected.csv`
or `expected.json`, and `expected-<name>` for every further file that the command writes as `<name>`.
"""

import json
import math
import shlex
import shutil
from pathlib import Path

import pytest

from firstsilk.faces.command.main import run

EXAMPLES = Path(__file__).parents[2] / "examples"
OF_THE_RUN = ("seconds", "gradient", "iterations")
"""Keys that tell how a run went: there, but never twice the same."""
FOLDERS = sorted(folder for folder in EXAMPLES.iterdir() if (folder / "command.txt").is_file())


def test_examples_when_looked_for_then_found_and_each_with_an_expected_result():
    assert len(FOLDERS) >= 2
    for folder in FOLDERS:
        assert list(folder.glob("expected.*")), folder.name


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda folder: folder.name)
def test_example_when_its_command_is_run_then_as_expected(folder, tmp_path, monkeypatch, capsys):
    here = tmp_path / folder.name
    shutil.copytree(folder, here)
    monkeypatch.chdir(here)
    program, *arguments = shlex.split((here / "command.txt").read_text(encoding="utf-8"))
    assert program == "firstsilk"
    assert run(arguments) == 0
    printed = capsys.readouterr().out
    for expected in sorted(here.glob("expected.*")):
        _compare(printed, expected)
    for expected in sorted(here.glob("expected-*")):
        _compare((here / expected.name.removeprefix("expected-")).read_text(encoding="utf-8"), expected)


def _compare(found: str, expected: Path) -> None:
    wanted = expected.read_text(encoding="utf-8")
    if expected.suffix == ".json":
        _same(json.loads(found), json.loads(wanted), expected.name)
    else:
        assert found == wanted


def _same(found: object, wanted: object, where: str) -> None:
    """Equal, but the last digits of a computed number may differ between machines."""
    if isinstance(wanted, dict):
        assert isinstance(found, dict)
        assert list(found) == list(wanted), where
        for key in wanted:
            if key in OF_THE_RUN:
                assert isinstance(found[key], int | float), where
                continue
            _same(found[key], wanted[key], f"{where}/{key}")
    elif isinstance(wanted, list):
        assert isinstance(found, list)
        assert len(found) == len(wanted), where
        for at, item in enumerate(wanted):
            _same(found[at], item, f"{where}/{at}")
    elif isinstance(wanted, float):
        assert isinstance(found, int | float), where
        assert math.isclose(found, wanted, rel_tol=1e-6, abs_tol=1e-9), (where, found, wanted)
    else:
        assert found == wanted, where
