"""How does a door hand over its result?

The table goes to ``--out``, or to standard output; with ``--json`` one object goes to standard output instead.
"""

from __future__ import annotations

import json
import math
import os
import sys
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from firstsilk.answers import refuse
from firstsilk.faces.files.tables import WRITTEN, write_table


def check_out(out: str) -> str:
    """The name of a file to write, looked at before any work is done: its kind is known and its folder takes files.

    Raises
    ------
    InputRefused
        If it is a folder, of no kind that is written, or cannot stand where it is wanted.
    """
    if out in ("", "-"):
        return out
    return check_place(out, WRITTEN)


def check_pdf_out(out: str) -> str:
    """As `check_out`, for a PDF file."""
    return check_place(out, (".pdf",))


def check_table_or_pdf_out(out: str) -> str:
    """As `check_out`, for a table or a PDF file."""
    return out if out in ("", "-") else check_place(out, (*WRITTEN, ".pdf"))


def check_place(out: str, kinds: Sequence[str]) -> str:
    """Refuse a file that cannot be written, before any work is done."""
    path = Path(out)
    if path.suffix.lower() not in kinds:
        known = ", ".join(kind for kind in kinds if kind)
        raise refuse("file_kind_unknown", f"{out}: a file of this kind is not written.", f"Name one of: {known}.")
    if path.is_dir():
        raise refuse("file_is_folder", f"{out}: this is a folder.", "Name a file in it.")
    if _is_device(path):
        raise refuse("file_is_device", f"{out}: this is no plain file.", "Name a file, or - for standard output.")
    try:
        with tempfile.TemporaryFile(dir=path.parent):
            pass
    except (OSError, ValueError) as fault:
        why = fault.strerror if isinstance(fault, OSError) else "no name of a file"
        raise refuse("file_not_writable", f"{out}: no file can be written there: {why}.", "Name another.") from None
    return out


def _is_device(path: Path) -> bool:
    # A file is moved to its place when it is whole; moved onto a device or a pipe it would take its place.
    return (path.exists() and not path.is_file()) or Path(os.path.abspath(path)).parent == Path("/dev")


Out = Annotated[
    str,
    typer.Option("--out", help="File to write (.csv, .xlsx, .parquet); standard output if absent.", callback=check_out),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object to standard output.")]


def give_result(
    columns: Sequence[str],
    rows: Iterable[Sequence[object]],
    out: str,
    as_json: bool,
    more: Mapping[str, object] | None = None,
) -> None:
    """Hand over a table, as every door does.

    With `as_json` the object is ``{..more, "rows": [{column: value}]}`` and the table is written only if `out`
    names a file.
    """
    kept = [list(row) for row in rows]
    if as_json:
        if out not in ("", "-"):
            write_table(out, columns, kept)
        give_json({**(more or {}), "rows": [dict(zip(columns, row, strict=True)) for row in kept]})
        return
    write_table(out or None, columns, kept)


def give_json(answer: Mapping[str, object]) -> None:
    """Print one JSON object to standard output; a number that does not exist is null."""
    sys.stdout.write(json.dumps(plain(answer), ensure_ascii=False, allow_nan=False) + "\n")


def plain(value: Any) -> Any:
    """A value made of what JSON knows: dates as ISO text, NaN and infinity as null."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def say(message: str) -> None:
    """Tell the person something that is not the result: to standard error."""
    print(message, file=sys.stderr)
