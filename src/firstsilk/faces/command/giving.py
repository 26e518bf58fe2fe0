"""How does a door hand over its result?

The table goes to ``--out``, or to standard output; with ``--json`` one object goes to standard output instead.
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import Annotated, Any

import typer

from firstsilk.faces.files.tables import write_table

Out = Annotated[str, typer.Option("--out", help="File to write (.csv, .xlsx, .parquet); standard output if absent.")]
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
