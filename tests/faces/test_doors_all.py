"""What holds for every door: three kinds of file in and out, one object beside a table, the same bytes each time?"""

from __future__ import annotations

import io
import json
import os
from pathlib import Path

import pytest

from firstsilk.faces.command.main import run
from firstsilk.faces.files.tables import csv_text, read_table, write_table

EXAMPLES = Path(__file__).parents[2] / "examples"
DOORS = {
    "heat": (
        "heat {file} --scale chu",
        "site,date,tmin_c,tmax_c\nb,2031-05-01,5,20.5\nb,2031-05-02,6,\na,2031-05-01,7,22\n",
        "--gaps interpolate --to 2031-05-01",
    ),
    "frost": ("frost {file}", "date,tmin_c,tmax_c\n2030-10-02,-3,9\n2031-10-05,-2.5,8\n", "--probability 0.5"),
    "kin": ("kin {file}", "line,mother,father,method,selfings\nA,,,founder,\nB,A,,self,2\n", ""),
    "crew": ("crew {file}", "date,p10,p50,p90\n2031-07-21,10,84,90.5\n2031-07-20,,1,2\n", "--beginners 0.6"),
    "forecast": (
        f"forecast {{file}} {EXAMPLES / 'forecast' / 'weather.csv'} --today 2031-07-18",
        "row,sown,units_to_silk,units_to_shed,silk_not_yet\nb,2031-05-12,1299,1241,2031-07-17\na,2031-05-19,1299,,\n",
        "--draws 60",
    ),
    "seed": (
        f"seed {EXAMPLES / 'seed' / 'need.csv'} {{file}}",
        "lot,line,kernels,germination,made,germination_seeds\nb,E14,300,0.9,2031,60\na,E14,90,1,2030-10-02,\n",
        "",
    ),
    "pollinations-needed": (
        f"pollinations-needed {EXAMPLES / 'pollinations-needed' / 'need.csv'} {{file}}",
        "line,pollinations,good_ears,kernels\nE14,48,37,5210\nE27,60,22,\n",
        "--assurance 0.9",
    ),
    "kernels-needed": (
        "kernels-needed {file}",
        "use,line,plants,packets,germination\na,A,18,3,0.8\nb,B,64,,\n",
        "--assurance 0.9",
    ),
    "markers": ("markers {file}", "line,m1,m2\nA,0,\nB,1,2\n", ""),
    "marker-kin": ("marker-kin {file}", "line,m1,m2\nA,0,2\nB,1,2\nD,0,1\n", "--frequencies half"),
    "design": ("design complete {file}", "entry,check,copies\nA,0,\nB,1,2\n", "--reps 2"),
}


def lay(folder, text: str, kind: str) -> str:
    """The table as a file of this kind, numbers as numbers."""
    path = folder / f"given.{kind}"
    if kind == "csv":
        path.write_text(text, encoding="utf-8")
        return str(path)
    head, *lines = text.strip().split("\n")
    rows = [[None if cell == "" else _typed(cell) for cell in line.split(",")] for line in lines]
    write_table(path, head.split(","), rows)
    return str(path)


def _typed(cell: str) -> object:
    try:
        return float(cell)
    except ValueError:
        return cell


def ask(capsys, words: str, *more: str) -> str:
    assert run([*words.split(), *more]) == 0
    return capsys.readouterr().out


@pytest.mark.parametrize("name", DOORS)
def test_a_door_reads_three_kinds_of_file_alike_and_gives_the_same_bytes_each_time(name, tmp_path, capsys) -> None:
    words, text, more = DOORS[name]
    given = [
        ask(capsys, f"{words.format(file=lay(tmp_path, text, kind))} {more}")
        for kind in ("csv", "csv", "xlsx", "parquet")
    ]
    assert len(set(given)) == 1
    assert given[0].count("\n") > 1


@pytest.mark.parametrize("name", DOORS)
def test_a_door_writes_three_kinds_of_file_alike(name, tmp_path, capsys) -> None:
    words, text, more = DOORS[name]
    command = f"{words.format(file=lay(tmp_path, text, 'csv'))} {more}"
    shown = ask(capsys, command)
    assert ask(capsys, command, "--out", "-") == shown
    for kind in ("csv", "xlsx", "parquet"):
        out = tmp_path / f"out.{kind}"
        assert ask(capsys, command, "--out", str(out)) == ""
        table = read_table(out)
        cells = [[row.text(column) for column in table.columns] for row in table.rows]
        assert csv_text(table.columns, cells) == shown, kind


@pytest.mark.parametrize("name", DOORS)
def test_a_door_with_json_and_a_file_gives_the_object_and_writes_the_table(name, tmp_path, capsys) -> None:
    words, text, more = DOORS[name]
    command = f"{words.format(file=lay(tmp_path, text, 'csv'))} {more}"
    shown = ask(capsys, command)
    out = tmp_path / "out.csv"
    told = ask(capsys, command, "--json", "--out", str(out))
    assert out.read_text(encoding="utf-8") == shown
    assert told.count("\n") == 1
    assert told == ask(capsys, command, "--json")
    assert isinstance(json.loads(told), dict)


@pytest.mark.parametrize("name", DOORS)
def test_a_door_reads_standard_input(name, tmp_path, capsys, monkeypatch) -> None:
    words, text, more = DOORS[name]
    shown = ask(capsys, f"{words.format(file=lay(tmp_path, text, 'csv'))} {more}")
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    assert ask(capsys, f"{words.format(file='-')} {more}") == shown


@pytest.mark.parametrize("place", ["/dev/null", "/dev/stdout", "pipe"])
def test_a_device_or_a_pipe_is_not_replaced_by_a_file(place, tmp_path, capsys) -> None:
    if place == "pipe":
        place = str(tmp_path / "pipe")
        os.mkfifo(place)
    before = os.lstat(place)
    words, text, _ = DOORS["crew"]
    assert run([*words.format(file=lay(tmp_path, text, "csv")).split(), "--out", place]) == 1
    assert capsys.readouterr().err == f"{place}: this is no plain file. Name a file, or - for standard output.\n"
    assert os.path.samestat(before, os.lstat(place))
    assert before.st_mode == os.lstat(place).st_mode
