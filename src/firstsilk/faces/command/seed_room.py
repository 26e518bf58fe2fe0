"""How are lots weighed, tested, split and mixed from the command line?"""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import AsJson, Out, give_json, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books, read_day
from firstsilk.faces.files.replicates import read_replicates

if TYPE_CHECKING:
    from firstsilk.work.seed.splits import LotFromLots

LotName = Annotated[str, typer.Argument(help="Name or tag of the lot.")]


def weigh(
    lot: LotName,
    net_g: Annotated[float, typer.Option("--net-g", help="Weight of the whole lot without its bag, in g.")],
    sample: Annotated[int | None, typer.Option("--sample", min=1, help="Kernels counted into each sample.")] = None,
    sample_g: Annotated[
        list[float] | None, typer.Option("--sample-g", help="Weight of a counted sample, in g; may be given again.")
    ] = None,
    look: Annotated[bool, typer.Option("--look", help="Only show what it would change.")] = False,
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Weigh a lot: kernels before and after; the difference is booked as counted."""
    on = open_books(station, today)
    from firstsilk.work.seed.weighing import weigh_lot

    if sample is not None and not sample_g:
        raise refuse("sample_unweighed", "The sample was counted but not weighed.", "Give --sample-g too.")
    done = weigh_lot(on, lot, net_g, sample_g or (), sample, book=not look)
    if as_json:
        give_json(asdict(done))
        return
    for caution in done.cautions:
        say(caution)
    say(f"Lot {done.name} ({done.tag}) of {done.line}: {done.weighed.thousand_g:.1f} g a thousand kernels.")
    say(f"Before {done.before:,} kernels, after {done.after:,} ({done.change:+,}).")
    say("Booked." if done.booked else "Nothing was booked.")


def germination(
    lot: LotName,
    seeds: Annotated[int | None, typer.Option("--seeds", help="Seeds laid out in a new test.")] = None,
    germinated: Annotated[int | None, typer.Option("--germinated", help="Seeds of it that germinated.")] = None,
    replicates: Annotated[
        str, typer.Option("--replicates", help="Instead: germinated of each 100 seeds, joined by commas: 92,95,90,94.")
    ] = "",
    on_day: Annotated[str, typer.Option("--on", help="Day of the test, as 2031-03-10; today if absent.")] = "",
    remark: Annotated[str, typer.Option("--remark", help="A word about the test.")] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """The germination tests of a lot, newest first, with the interval of its own share; enter a new one."""
    on = open_books(station, today)
    from firstsilk.work.seed.germination_tests import list_germination, record_germination

    each = read_replicates(replicates)
    if each and seeds is None and germinated is None:
        seeds, germinated = 100 * len(each), sum(each)
    if (seeds is None) != (germinated is None):
        raise typer.BadParameter("Give --seeds and --germinated together.")
    if seeds is not None and germinated is not None:
        found = record_germination(on, lot, seeds, germinated, read_day(on_day), remark, each)
        if found.entered:
            say(found.entered)
    else:
        found = list_germination(on, lot)
    if found.tests and found.tests[0].caution:
        say(found.tests[0].caution)
    say(found.basis.as_text())
    columns = ("tested_on", "seeds", "germinated", "germination", "low", "high", "official", "remark", "who")
    rows = [
        (
            one.tested_on,
            one.seeds,
            one.germinated,
            _figures(one.germination_frac),
            _figures(one.low_frac),
            _figures(one.high_frac),
            one.is_official,
            one.remark,
            one.who,
        )
        for one in found.tests
    ]
    give_result(columns, rows, out, as_json)


def _figures(share: float | None) -> float | None:
    return None if share is None else round(share, 4)


def split(
    lot: LotName,
    name: Annotated[str, typer.Argument(help="Name of the new lot.")],
    kernels: Annotated[int, typer.Option("--kernels", help="Kernels that go into it.")],
    used_for: Annotated[str, typer.Option("--for", help="What it is split for.")] = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Put kernels of a lot into a lot of their own, which names its parent."""
    on = open_books(station, today)
    from firstsilk.work.seed.splits import split_lot

    _tell_made(split_lot(on, lot, kernels, name, used_for), as_json)


def bulk(
    name: Annotated[str, typer.Argument(help="Name of the bulk.")],
    parts: Annotated[list[str], typer.Argument(help="Lots with the kernels each gives: LOT=KERNELS.")],
    line: Annotated[str, typer.Option("--line", help="The line that the bulk is, where its lots are of several.")] = "",
    used_for: Annotated[str, typer.Option("--for", help="What it is mixed for.")] = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Mix kernels of several lots into one bulk, which names its parents with their shares."""
    on = open_books(station, today)
    from firstsilk.work.seed.splits import bulk_lots

    _tell_made(bulk_lots(on, [_read_part(part) for part in parts], name, line, used_for), as_json)


def _read_part(part: str) -> tuple[str, int]:
    lot, sign, kernels = part.rpartition("=")
    if not sign or not lot or not kernels.strip().isdecimal():
        raise refuse("part_unreadable", f"{part!r} is not a lot with its kernels.", "Write LOT=KERNELS, as E1-30=50.")
    return lot.strip(), int(kernels)


def _tell_made(made: LotFromLots, as_json: bool) -> None:
    if as_json:
        give_json(asdict(made))
        return
    say(f"Lot {made.name} ({made.tag}) of {made.line} holds {made.kernels:,} kernels.")
    say(made.basis.as_text())
    columns = ("lot", "tag", "kernels", "share", "before", "after")
    rows = [(one.name, one.tag, one.kernels, round(one.share_frac, 6), one.before, one.after) for one in made.parents]
    give_result(columns, rows, "", False)
