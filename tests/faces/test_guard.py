"""Do bad files do no harm? Bombs, wrong kinds, broken archives: refused at once, in one sentence."""

from __future__ import annotations

import io
import time
import zipfile

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.files.tables import read_table, table_from_bytes


def pack(*members: tuple[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return out.getvalue()


_NAMES = ("bomb.xlsx", "many.xlsx", "text.xlsx", "empty.xlsx", "text.parquet", "program.exe", "noname", "huge.csv")
_NAMES += ("binary.csv", "latin.csv", "entities.xlsx")


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("bomb.xlsx", pack(("xl/worksheets/sheet1.xml", b"0" * 150_000_000)), "out of all proportion"),
        ("many.xlsx", pack(*((f"part{at}", b"x") for at in range(1001))), "1001 parts"),
        ("text.xlsx", b"line,kind\nEK1,line\n", "cannot be read as a spreadsheet"),
        ("empty.xlsx", pack(), "cannot be read as a spreadsheet"),
        ("text.parquet", b"line,kind\n", "not a Parquet file"),
        ("program.exe", b"MZ", "of this kind is not read"),
        ("noname", b"a,b\n", "of this kind is not read"),
        ("huge.csv", b"a\n" * 6_000_000, "at most 10 can be read"),
        ("binary.csv", b"a,b\n\x00,1\n", "not a text file"),
        ("latin.csv", "a,b\nM\xfcller,1\n".encode("latin-1"), "line 2"),
        ("entities.xlsx", pack(("xl/workbook.xml", b"<!DOCTYPE x [<!ENTITY a 'aaaa'>]><x>&a;</x>")), "spreadsheet"),
    ],
    ids=_NAMES,
)
def test_bad_upload_is_refused_in_one_sentence_and_at_once(name: str, content: bytes, says: str) -> None:
    began = time.perf_counter()
    with pytest.raises(InputRefused) as refused:
        table_from_bytes(content, name)
    assert says in str(refused.value)
    assert name in str(refused.value)
    assert time.perf_counter() - began < 3 * 2.0


def test_bomb_is_refused_from_a_path_too(tmp_path) -> None:
    path = tmp_path / "bomb.xlsx"
    path.write_bytes(pack(("xl/worksheets/sheet1.xml", b"0" * 150_000_000)))
    with pytest.raises(InputRefused, match="out of all proportion"):
        read_table(path)


def test_text_that_a_spreadsheet_would_run_is_written_harmless(tmp_path) -> None:
    from firstsilk.faces.files.tables import csv_text

    assert csv_text(["line", "value"], [["=1+1", -3.5], ["@x", 2]]) == "line,value\n'=1+1,-3.5\n'@x,2\n"
