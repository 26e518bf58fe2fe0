"""How are harvest and lots worked from the command line?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_json, give_result, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books
from firstsilk.faces.files.tables import read_table

if TYPE_CHECKING:
    from firstsilk.work.seed.lots import OriginFacts


def harvest(
    file: Annotated[str, typer.Argument(help="Table of ears and kernels: row, ears, kernels[, bag].")] = "",
    lots: Annotated[bool, typer.Option("--lots", help="Make lots of all rows whose kernels are noted.")] = False,
    ears_apart: Annotated[
        bool, typer.Option("--ears-apart", help="With --lots: each selfed ear shelled by its bag is a line of its own.")
    ] = False,
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Note ears picked and kernels shelled; with --lots make the lots they become."""
    if ears_apart and not lots:
        raise typer.BadParameter("--ears-apart says how lots are made: give --lots as well.")
    on = open_books(station, today)
    from firstsilk.faces.files.year import read_picked
    from firstsilk.work.seed.harvest import make_lots, record_harvest

    if not file and not lots:
        raise refuse("harvest_what", "There is nothing to do.", "Give a table of ears and kernels, or --lots.")
    if file:
        picked, places = read_picked(read_table(file))
        done = record_harvest(on, season, picked, "file", places)
        for finding in done.findings:
            say(finding.as_text())
        say(f"{done.noted} notes written for season {done.season}.")
    if lots:
        made = make_lots(on, season, ears_apart)
        for finding in made.findings:
            say(finding.as_text())
        say(f"{len(made.lots)} lots made. {made.basis.as_text()}")
        columns = ("lot", "tag", "line", "row", "male", "kernels", "new_line")
        rows = [(one.name, one.tag, one.line, one.row, one.male, one.kernels, one.is_new_line) for one in made.lots]
        give_result(columns, rows, out, as_json)


def lots(
    text: Annotated[str, typer.Argument(help="Part of a lot's name, tag or line.")] = "",
    in_stock: Annotated[bool, typer.Option("--in-stock", help="Only lots that hold seed.")] = False,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """The lots with their stock, promised and free kernels."""
    on = open_books(station, today)
    from firstsilk.work.seed.lots import list_lots

    found = list_lots(on, text, in_stock, size=1_000_000)
    say(found.basis.as_text())
    columns = (
        "lot",
        "tag",
        "line",
        "year",
        "kind",
        "kernels",
        "promised",
        "free",
        "germination",
        "place",
        "germination_seeds",
    )
    rows = [
        (
            one.stock.name,
            one.stock.tag,
            one.stock.line,
            one.stock.year,
            one.kind,
            one.stock.kernels,
            one.stock.reserved,
            one.stock.free,
            one.stock.germination_frac,
            one.place,
            one.germination_seeds,
        )
        for one in found.lots
    ]
    give_result(columns, rows, out, as_json)


def lot(
    name: Annotated[str, typer.Argument(help="Name or tag of the lot.")],
    take: Annotated[int, typer.Option("--take", help="Kernels to take out.")] = 0,
    count: Annotated[int | None, typer.Option("--count", min=0, help="Kernels counted in the lot.")] = None,
    reason: Annotated[str, typer.Option(help="Why kernels are taken: split, sent or discarded.")] = "split",
    used_for: Annotated[str, typer.Option("--for", help="What they are used for.")] = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """One lot: from where, every movement; take kernels out of it, or enter a count."""
    on = open_books(station, today)
    from dataclasses import asdict

    from firstsilk.work.seed.lots import move_seed, read_lot

    if take and count is not None:
        raise typer.BadParameter("--take takes kernels out, --count enters a count: give one of them.")
    if count is not None:
        page = move_seed(on, name, count, "counted", used_for)
    elif take:
        page = move_seed(on, name, take, reason, used_for)
    else:
        page = read_lot(on, name)
    for caution in page.cautions:
        say(caution)
    if as_json:
        give_json(asdict(page))
        return
    stock = page.stock
    say(f"Lot {stock.name} ({stock.tag}) of {stock.line}: {stock.kernels} kernels, {stock.reserved} promised.")
    for origin in page.origins:
        say(_tell_origin(origin))
    columns = ("moved_on", "kernels", "reason", "used_for", "who", "stock_after")
    rows = [(m.moved_on, m.kernels, m.reason, m.used_for, m.who, m.stock_after) for m in page.movements]
    give_result(columns, rows, "", False)


def _tell_origin(origin: OriginFacts) -> str:
    """Of what a lot was made: a row and perhaps its male's, or another lot, with its share where there are several."""
    share = f", share {origin.share_frac:.0%}" if origin.share_frac < 1 else ""
    if origin.parent_lot:
        return f"From lot {origin.parent_lot}{share}."
    father = f" x row {origin.male_row} ({origin.father})" if origin.father else ""
    return f"From row {origin.row} of {origin.season} ({origin.mother}){father}{share}."


def success(
    line: Annotated[str, typer.Argument(help="One line; all lines with notes if absent.")] = "",
    ears: Annotated[int, typer.Option("--ears", min=0, help="Good ears wished of each line.")] = 0,
    kernels: Annotated[int, typer.Option("--kernels", min=0, help="Kernels wished of each line.")] = 0,
    assurance: Annotated[float, typer.Option("--assurance", help="Chance wanted of reaching them.")] = 0.95,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Good ears a pollination and kernels an ear by line, as noted here and as to plan with.

    With --ears or --kernels also the pollinations and rows that reach them. The first columns are RECORDS of
    `firstsilk pollinations-needed`.
    """
    if not 0 < assurance < 1:
        raise typer.BadParameter(f"--assurance takes a share between 0 and 1; not {assurance:g}.")
    on = open_books(station, today)
    from dataclasses import asdict

    from firstsilk.work.seed.success import read_success

    found = read_success(on, line, ears, kernels, assurance)
    say(found.basis.as_text())
    lent = found.programme
    say(
        f"All lines: {lent.success_frac:.0%} good ears, {lent.kernels_per_ear:.0f} kernels an ear; "
        f"lent to a line as {lent.pollinations_lent:.0f} pollinations and {lent.ears_lent:.0f} ears."
    )
    columns = ["line", "pollinations", "good_ears", "shelled_ears", "kernels", "success", "kernels_per_ear"]
    columns += ["needed", "rows", "chance"] if ears or kernels else []
    rows = []
    for one in found.lines:
        own = one.counts
        told: list[object] = [own.line, own.pollinations, own.good_ears, own.shelled_ears, own.kernels]
        told += [round(one.success_frac, 4), round(one.kernels_per_ear, 1)]
        if ears or kernels:
            told += [one.pollinations, one.rows, None if one.chance is None else round(one.chance, 4)]
        rows.append(told)
    give_result(columns, rows, out, as_json, {"programme": asdict(lent)})
