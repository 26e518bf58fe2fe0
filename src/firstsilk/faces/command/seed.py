"""Which lots cover a need for kernels, at the command line?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say

if TYPE_CHECKING:
    from firstsilk.faces.files.seed_needs import ReadLot
    from firstsilk.science.seed.covering import Covered

COLUMNS = ("use", "line", "lot", "kernels", "short")
DECIMALS = 4

NeedFile = Annotated[
    str, typer.Argument(metavar="NEED", help="Kernels that must germinate: use, line, kernels. - is stdin.")
]
LotsFile = Annotated[
    str,
    typer.Argument(
        metavar="LOTS",
        help="Lots on hand: lot, line, kernels, germination[, promised][, made or year][, germination_seeds]. Oldest "
        "first, unless made (a date or a year) or year tells.",
    ),
]
Untested = Annotated[
    float | None,
    typer.Option("--untested", help="Share taken where a lot has no germination; such a lot is refused if absent."),
]


def seed(need: NeedFile, lots: LotsFile, untested: Untested = None, out: Out = "", as_json: AsJson = False) -> None:
    """Kernels to take from which lots, so that the need germinates: kernels x germination, added up over the lots.

    Each need takes from the fewest lots that cover it; of those that do, the oldest, and these oldest first and whole.
    Needs are served in the order of the table, each from what those before it have left. short is how many germinating
    kernels are missing, the same on each line of a use and line; a line without any lot has one line with no lot.
    Kernels promised are left alone. What `firstsilk lots` writes can be given as LOTS.

    With germination_seeds the table has germination_low and germination_high more, the 95 % interval (Wilson) of the
    lot's own share; a test of fewer than 400 seeds is told to be no official one.
    """
    from firstsilk.faces.files.seed_needs import read_lots, read_needs
    from firstsilk.science.seed.covering import cover_needs

    if untested is not None and not 0 <= untested <= 1:
        raise typer.BadParameter(f"--untested takes a share from 0 to 1; not {untested:g}.")
    if need == lots == "-":
        raise refuse("stdin_twice", "Both tables are asked of standard input.", "Name a file for one of them.")
    needs = read_needs(need)
    on_hand = read_lots(lots, untested_allowed=untested is not None)
    covered = cover_needs(needs, [lot.count_at(untested) for lot in on_hand])
    by_name = {lot.lot: lot for lot in on_hand}
    columns, rows = _lay_out(covered, by_name)
    cautions = [*_tell_tests(covered, by_name, untested), *_tell_short(covered, {lot.line for lot in on_hand})]
    for caution in cautions:
        say(caution)
    more = {"uses": len(covered), "uses_short": sum(one.short > 0 for one in covered), "cautions": cautions}
    give_result(columns, rows, out, as_json, more)


def _lay_out(covered: Sequence[Covered], lots: dict[str, ReadLot]) -> tuple[list[str], list[list[object]]]:
    has_seeds = any(lot.germination_seeds is not None for lot in lots.values())
    columns = [*COLUMNS, *(("germination_low", "germination_high") if has_seeds else ())]
    rows: list[list[object]] = []
    for one in covered:
        need = one.need
        for taking in one.takings:
            ends = _interval(lots[taking.lot]) if has_seeds else ()
            rows.append([need.use, need.line, taking.lot, taking.kernels, one.short, *ends])
        if not one.takings:
            rows.append([need.use, need.line, None, 0, one.short, *((None, None) if has_seeds else ())])
    return columns, rows


def _interval(lot: ReadLot) -> tuple[float | None, float | None]:
    from firstsilk.science.seed.germination import find_germination_interval

    if lot.germination is None or lot.germination_seeds is None:
        return None, None
    low, high = find_germination_interval(lot.germination, lot.germination_seeds)
    return round(low, DECIMALS), round(high, DECIMALS)


def _tell_tests(covered: Sequence[Covered], lots: dict[str, ReadLot], untested: float | None) -> list[str]:
    """A sentence for each lot that seed is taken from on the word of no test, or of a small one."""
    from firstsilk.science.seed.germination import judge_germination

    told = []
    for name in dict.fromkeys(taking.lot for one in covered for taking in one.takings):
        lot = lots[name]
        if lot.germination is None and untested is not None:
            told.append(f"Lot {name}: no germination test; taken as {untested:g}.")
        elif lot.germination is not None and lot.germination_seeds is not None:
            caution = judge_germination(lot.germination, lot.germination_seeds).caution
            told += [f"Lot {name}: {caution}"] if caution else []
    return told


def _tell_short(covered: Sequence[Covered], lines: set[str]) -> list[str]:
    told = []
    for one in covered:
        if one.short:
            why = "" if one.need.line in lines else ": there is no lot of it"
            told.append(f"{one.need.use}: {one.short} germinating kernels of {one.need.line} are missing{why}.")
    return told
