"""Is there seed for a whole plan, from the command line?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books

if TYPE_CHECKING:
    from firstsilk.work.seed.plan_seed import UseSeed


def plan_seed(
    season: Annotated[str, typer.Argument(help="Season whose draft targets want seed, such as 2032.")],
    plants_per_row: Annotated[int, typer.Option(help="Plants wanted in a row, as in the plan.")] = 18,
    assurance: Annotated[float, typer.Option(help="Chance wanted of reaching each target, as in the plan.")] = 0.95,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Seed for all uses of a plan weighed together: ok, from which lots, or short and what could be done."""
    on = open_books(station, today)
    from firstsilk.work.seed.plan_seed import read_plan_seed

    found = read_plan_seed(on, season, plants_per_row, assurance)
    say(f"{found.rows - found.short} of {found.rows} rows have seed. {found.basis.as_text()}")
    columns = ("use", "line", "rows", "short", "says", "lots", "instead")
    rows = [
        (one.use, one.line, one.rows, one.short, one.says, _tell_lots(one), "; ".join(one.instead))
        for one in found.uses
    ]
    give_result(columns, rows, out, as_json, {"season": found.season, "rows_short": found.short})


def _tell_lots(use: UseSeed) -> str:
    each = (f"{lot}: {rows} row{'s' if rows > 1 else ''}, {kernels} kernels" for lot, _, rows, kernels in use.lots)
    return "; ".join(each)
