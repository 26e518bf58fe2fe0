"""Does the command answer at once, end with the right exit code, and never show a traceback?"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from pathlib import Path

import pytest

from firstsilk.faces.command.main import ENTRIES, run

UNBUILT = ["merit"]
PROJECT = Path(__file__).resolve().parents[2]
HELP_TARGET_S = 0.5


def call(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "firstsilk", *arguments], capture_output=True, text=True, timeout=60, check=False
    )


def test_help_answers_in_under_half_a_second() -> None:
    took = []
    for _ in range(3):
        began = time.perf_counter()
        assert call("--help").returncode == 0
        took.append(time.perf_counter() - began)
    assert min(took) < 3 * HELP_TARGET_S


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; from firstsilk.faces.command.main import run; run(['--help']);"
        "print([m for m in ('numpy', 'django', 'scipy', 'polars', 'typer') if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize("name", [entry.name for entry in ENTRIES])
def test_every_command_has_help_that_ends_well(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([name, "--help"]) == 0
    assert "Usage" in capsys.readouterr().out


@pytest.mark.parametrize("door", UNBUILT)
def test_door_that_is_not_built_says_so_with_exit_1(door: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert run([door, "a.csv", "--whatever", "3"]) == 1
    assert capsys.readouterr().err == f"firstsilk {door}: not built yet.\n"


def test_door_that_is_not_built_says_so_in_the_one_shape(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["merit", "--json"]) == 1
    assert json.loads(capsys.readouterr().out) == {
        "no": "error",
        "code": "not_built_yet",
        "message": "firstsilk merit: not built yet.",
        "may_retry": False,
    }


@pytest.mark.parametrize("wrong", [["dance"], ["heat"], ["heat", "x.csv", "--scale"], ["kin", "--no-such-option"]])
def test_wrong_usage_ends_with_2(wrong: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(wrong) == 2
    assert "Traceback" not in capsys.readouterr().err


def test_command_is_also_a_module() -> None:
    assert call("--version").stdout.startswith("firstsilk, version ")


@pytest.mark.xdist_group("wheel")
def test_wheel_installs_and_its_command_answers(tmp_path: Path) -> None:
    """Builds the wheel, installs it apart from the checkout, and asks it for help and for a page's template."""
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path / "dist")]
    subprocess.run(build, cwd=PROJECT, check=True, capture_output=True, timeout=120)
    (wheel,) = (tmp_path / "dist").glob("*.whl")
    target = tmp_path / "site"
    install = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--no-index", "--target", str(target)]
    subprocess.run([*install, str(wheel)], check=True, capture_output=True, timeout=120)
    code = "import firstsilk; from firstsilk.faces.command.main import run; print(firstsilk.__file__); run(['--help'])"
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
        cwd=tmp_path,
        env={"PYTHONPATH": str(target), "PATH": ""},
    )
    assert done.stdout.startswith(str(target))
    assert "heat units by day" in done.stdout
    for part in (
        "faces/pages/templates/base.html",
        "faces/pages/static/desk.css",
        "faces/pocket/static/pocket/app.js",
        "records/migrations/0001_books.py",
    ):
        assert (target / "firstsilk" / part).is_file(), part
    assert list((target / "firstsilk/faces/paper/fonts").glob("*.ttf"))


@pytest.mark.django_db
def test_account_is_made_with_the_password_of_standard_input(on, monkeypatch, capsys) -> None:
    import io

    from firstsilk.work.accounts import sign_in

    monkeypatch.setattr("sys.stdin", io.StringIO("a long enough secret\n"))
    assert run(["account", "ada", "--role", "technician"]) == 0
    assert "ada may now sign in as technician." in capsys.readouterr().err
    made = sign_in("ada", "a long enough secret", on.now)
    assert made is not None
    assert made.role == "technician"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("arguments", "password", "says"),
    [
        (["account", "ada", "--role", "king"], "a long enough secret", "There is no role 'king'"),
        (["account", "ada"], "short", "too short"),
        (["account", ""], "a long enough secret", "empty or taken"),
    ],
)
def test_account_that_cannot_be_is_refused_in_one_sentence(on, monkeypatch, capsys, arguments, password, says) -> None:
    import io

    monkeypatch.setattr("sys.stdin", io.StringIO(password))
    assert run(arguments) == 1
    assert says in capsys.readouterr().err


@pytest.mark.django_db
def test_books_that_are_up_to_date_are_opened_without_going_over_their_tables(on, monkeypatch, capsys) -> None:
    from django.core import management
    from django.db import connection
    from django.db.migrations.recorder import MigrationRecorder

    gone_over: list[str] = []
    monkeypatch.setattr(management, "call_command", lambda name, **_: gone_over.append(name))
    assert run(["lots"]) == 0
    assert gone_over == []
    MigrationRecorder(connection).migration_qs.filter(app="records").order_by("-pk")[0].delete()
    assert run(["lots"]) == 0
    assert gone_over == ["migrate"]
    capsys.readouterr()


@pytest.mark.django_db
def test_books_without_a_station_say_how_to_bring_one(capsys) -> None:
    assert run(["day"]) == 1
    assert "There is no station in these books yet. Bring one: firstsilk bring DIR." in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (
            "heat x.csv --scale chu --from 2031-13-01",
            "'2031-13-01' is not a date. Write it as year-month-day: 2031-07-21.",
        ),
        ("frost x.csv --threshold cold", "this is not a number."),
        ("frost x.csv --spread 3.5", "this is not a whole number."),
        ("forecast x.csv y.csv --today 2031-07-18 --draws 0", "this must be 50 or more."),
        ("crew x.csv --first-days some", "'some' is not one of 'none', 'us-20', 'thirds'."),
    ],
)
def test_a_wrong_value_is_told_in_words_for_people_who_do_not_program(words, told, capsys) -> None:
    assert run(words.split()) == 2
    error = capsys.readouterr().err.strip().split("\n")[-1]
    assert error.endswith(f": {told}")
    assert error.startswith("Error: Invalid value for '--")
