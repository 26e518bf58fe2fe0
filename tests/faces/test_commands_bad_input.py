"""Does every command answer bad input in one clear sentence, end with 1 or 2, and leave books and folders alone?

Each table of the year and of the doors is bent in every way that people have bent tables; whatever is refused must be
refused before anything is written.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from django.apps import apps

from firstsilk.faces.command.main import run

pytestmark = pytest.mark.django_db
TODAY = ["--today", "2031-10-01"]
MODEL = 'response = "y"\nfixed = [["line"]]\n'
WEATHER = "date,tmin_c,tmax_c\n2031-05-01,5,20\n2031-05-02,6,21\n"


@dataclass(frozen=True)
class Door:
    """A command that reads a table: its words ({file} stands for it), a good table, a column that wants a number, one
    that wants a known name, one that wants a day; and whether it works on the books."""

    words: str
    good: str
    number: str = ""
    name: str = ""
    day: str = ""
    books: bool = False


DOORS = {
    "plan": Door("plan 2032 --add {file}", "kind,female,male,ears,kernels\nself,E1,,4,\n", "ears", "female", "", True),
    "sow": Door("sow {file}", "row,sown,misplanted\n3,2031-05-13,\n", "row", "misplanted", "sown", True),
    "harvest": Door("harvest {file}", "row,ears,kernels\n1,3,200\n", "ears", "", "", True),
    "trial": Door("trial NEW --entries {file}", "entry,check\nE1,0\nE2,1\n", "check", "entry", "", True),
    "plots": Door(
        "plots {file} --trial FIRST-30", "plot,weight_kg,entry\n101,7,E1/E2\n", "weight_kg", "entry", "", True
    ),
    "choose": Door("choose --year 2030 --verdicts {file}", "line,verdict\nE1,go_on\n", "", "verdict", "", True),
    "weather": Door("weather {file}", "date,tmin_c,tmax_c\n2031-06-01,5,20\n", "tmin_c", "date", "date", True),
    "daily": Door("daily {file}", "time,temp_c\n2031-06-01T00:00,5\n", "temp_c", "time", "time"),
    "heat": Door("heat {file} --scale chu", WEATHER, "tmin_c", "date", "date"),
    "frost": Door("frost {file}", WEATHER, "tmin_c", "date", "date"),
    "kin": Door("kin {file}", "line,mother,father,method\nA,,,founder\nB,A,,self\n", "", "method"),
    "seed": Door(
        "seed {file} {file}", "use,lot,line,kernels,germination,made\nu,L,A,5,1,2031-10-02\n", "kernels", "", "made"
    ),
    "pollinations-needed": Door(
        "pollinations-needed {file} {file}",
        "use,line,ears,pollinations,good_ears,kernels\nu,A,5,20,12,900\n",
        "good_ears",
    ),
    "kernels-needed": Door("kernels-needed {file}", "use,line,plants,packets\nu,A,18,2\n", "plants"),
    "markers": Door("markers {file}", "line,m1,m2\nA,0,2\nB,1,2\n", "m1"),
    "design": Door("design complete {file}", "entry,copies\nA,1\nB,1\n", "copies", ""),
    "stability": Door("stability {file}", "entry,environment,mean\nA,x,1\nA,y,2\nB,x,3\nB,y,3.5\n", "mean", ""),
    "ability": Door(
        "ability {file} --mother m --father f --response mean --kind line-tester",
        "m,f,mean\na,t,1\na,u,2\nb,t,3\nb,u,3.5\n",
        "mean",
    ),
    "fit": Door("fit {file} {model}", "line,y\na,1\nb,2\na,3\nb,2.5\n", "y", ""),
    "fit-traits": Door("fit-traits {file} {model} --traits y --workers 1", "line,y\na,1\nb,2\na,3\nb,2.5\n", "y", ""),
}

NO_NUMBERS = ("abc", "nan", "inf", '"1,5"', "½", "0x10", "1_000", "١٢", "1e400", "--5")
SLIPS = ("1e300", "999999999999999999999")
NO_NAMES = ("nope", "Ž\u202e", "x" * 5000, "'; DROP TABLE x", "=1+1", "🌽", "\x07")
NO_DAYS = ("2031-02-30", "13/05/2031", "0001-01-01", "9999-12-31", "20310513", "2031-W20-1", "2031-05-13T25:00")


def put(good: str, column: str, value: str) -> bytes:
    """The good table with one value in the first line of a column."""
    head, first, *rest = good.strip("\n").split("\n")
    cells = first.split(",")
    cells[head.split(",").index(column)] = value
    return "\n".join([head, ",".join(cells), *rest, ""]).encode()


def bend(door: Door) -> Iterator[tuple[str, bytes]]:
    """Bad tables, each with what is wrong with it."""
    good = door.good
    head, first, *_ = good.split("\n")
    yield "empty", b""
    yield "blank lines", b"\n \n\n"
    yield "header only", f"{head}\n".encode()
    yield "latin-1", f"{head}\n".encode() + b"\xfc\xfc\n"
    yield "utf-16", good.encode("utf-16")
    yield "binary", good.encode() + b"\x00"
    yield "open quotation mark", good.encode() + b'"abc'
    yield "column twice", f"{head},{head.split(',')[0]}\n{first},1\n".encode()
    yield "nameless column", re.sub("^[^,]+", "", good, count=1).encode()
    yield "first column renamed", re.sub("^[^,]+", "zzz", good, count=1).encode()
    yield "too many cells", f"{head}\n{first},9,9,9\n".encode()
    yield "semicolons", good.replace(",", ";").encode()
    yield "tabs", good.replace(",", "\t").encode()
    for values, column in ((NO_NUMBERS, door.number), (SLIPS, door.number), (NO_NAMES, door.name), (NO_DAYS, door.day)):
        if column and not (values is SLIPS and column == "y"):
            yield from ((f"{column} {value[:20]!r}", put(good, column, value)) for value in values)


def count_books() -> dict[str, int]:
    return {model.__name__: model.objects.count() for model in apps.get_app_config("records").get_models()}


def check_no(arguments: list[str], capsys: pytest.CaptureFixture[str], wrong: str = "") -> str:
    """Run a command that must say no; returns what is odd about its answer, empty if nothing is."""
    code = run(arguments)
    told = capsys.readouterr()
    lines = told.err.strip().splitlines()
    if code not in (1, 2):
        return f"{wrong}: ended with {code}"
    if told.out or not lines or "Traceback" in told.err:
        return f"{wrong}: said {told.err[:200]!r} and gave {told.out[:80]!r}"
    if max(len(line) for line in lines) > 500:
        return f"{wrong}: a sentence of {max(len(line) for line in lines)} signs"
    return ""


@pytest.mark.parametrize("name", DOORS)
def test_a_bad_table_is_refused_with_its_file_and_leaves_books_and_folder_alone(name, on, tmp_path, capsys) -> None:
    door = DOORS[name]
    table, model = tmp_path / "table.csv", tmp_path / "model.toml"
    model.write_text(MODEL)
    arguments = [word.format(file=table, model=model) for word in door.words.split()] + (TODAY if door.books else [])
    out = tmp_path / "out.csv"
    before, odd = count_books(), []
    for wrong, content in bend(door):
        table.write_bytes(content)
        found = check_no(arguments if name == "sow" else [*arguments, "--out", str(out)], capsys, wrong)
        found = found or ("a file was left" if set(tmp_path.iterdir()) != {table, model} else "")
        found = found or ("books changed" if count_books() != before else "")
        if found:
            odd.append(f"{wrong}: {found}")
    assert odd == []


@pytest.mark.parametrize("name", DOORS)
def test_a_file_that_is_none_is_refused_by_its_name(name, on, tmp_path, capsys) -> None:
    door = DOORS[name]
    model = tmp_path / "model.toml"
    model.write_text(MODEL)
    (tmp_path / "folder.csv").mkdir()
    for made in ("junk.xlsx", "junk.parquet", "empty.xlsx"):
        (tmp_path / made).write_bytes(b"" if made.startswith("empty") else b"junk")
    before, odd = count_books(), []
    for file in ("gone.csv", "gone.xlsx", "folder.csv", "junk.xlsx", "junk.parquet", "empty.xlsx", "a\0b.csv"):
        arguments = [word.format(file=tmp_path / file, model=model) for word in door.words.split()]
        code = run(arguments + (TODAY if door.books else []))
        told = capsys.readouterr()
        if code != 1 or told.out or file.replace("\0", "") not in told.err.replace("\0", "").replace("\\x00", ""):
            odd.append(f"{file!r}: {code} {told.err[:200]!r}")
    assert odd == []
    assert count_books() == before


@pytest.mark.parametrize(
    ("name", "column", "value", "says"),
    [
        ("plan", "ears", "-5", "table.csv, line 2, column ears: -5 ears cannot be wanted of E1. Ask for 1 to 5,000"),
        ("plan", "ears", "2.5", "line 2, column ears: a whole number is wanted here (found: '2.5')"),
        ("plan", "female", "E9", "line 2, column female: There is no line 'E9' in the books"),
        ("plan", "kind", "clone", "line 2, column kind: This is not a kind of target (found: 'clone'). Use self, sib"),
        ("sow", "row", "77", "line 2, column row: There is no row 77 in season 2031"),
        ("sow", "sown", "2031-12-01", "line 2, column sown: Row 3: 2031-12-01 is after today, 2031-10-01"),
        ("sow", "sown", "2021-05-12", "line 2, column sown: Row 3: 2021-05-12 is not in season 2031"),
        ("sow", "sown", "", "line 2, column sown: Row 3: neither the day it was sown nor a correction"),
        ("harvest", "ears", "-1", "line 2, column ears: Row 1: -1 ears cannot be. Write 0 to 100,000"),
        ("harvest", "row", "9", "line 2, column row: There is no row 9 in season 2031"),
        ("trial", "check", "yes", "line 2, column check: check is 1 or 0 (found: 'yes')"),
        ("trial", "entry", "E9", "line 2, column entry: there is no such line in the books (found: 'E9')"),
        ("trial", "entry", "E2", "line 3, column entry: this entry stood in line 2 (found: 'E2')"),
        ("plots", "weight_kg", "-7", "line 2, column weight_kg: a weight is not below 0 (found: '-7.0')"),
        ("plots", "weight_kg", "1000000", "line 2, column weight_kg: no plot gives this weight"),
        ("plots", "entry", "E1", "line 2, column entry: another entry grows there (found: 'E1'). On plot 101 grows"),
        ("weather", "tmin_c", "25", "line 2, column tmin_c: the minimum is above the maximum on 2031-06-01"),
        ("weather", "date", "2031-11-01", "line 2, column date: this day has not come yet: today is 2031-10-01"),
        ("design", "copies", "0", "line 2, column copies: copies must be 1 or more (found: '0')"),
        ("design", "copies", "1000000", "3,000,003 plots are too many for a trial"),
        ("kin", "method", "clone", "line 2, column method: line 'A': this method is not known (found: 'clone')"),
    ],
)
def test_a_wrong_cell_is_named_with_line_column_value_and_repair(
    name, column, value, says, on, tmp_path, capsys
) -> None:
    door = DOORS[name]
    table = tmp_path / "table.csv"
    table.write_bytes(put(door.good, column, value))
    before = count_books()
    words = [word.format(file=table, model="") for word in door.words.split()]
    assert run(words + (TODAY if door.books else [])) == 1
    assert says in capsys.readouterr().err
    assert count_books() == before
