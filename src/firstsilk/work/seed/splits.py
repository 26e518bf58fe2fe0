"""How is a lot split, and how are several lots made into one bulk?

Kernels leave each parent and stand in the new lot, which names its parents with their shares.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import Line, Lot, LotOrigin, Station
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.booking import MOST_KERNELS, add_movement, check_lot_name
from firstsilk.work.seed.stock import read_lot_stock
from firstsilk.work.shelf import get_line, get_lot, get_station, take_tags


@dataclass(frozen=True, slots=True)
class ParentShare:
    """One parent of a new lot: kernels given, its share of the new lot, kernels before and after."""

    tag: str
    name: str
    kernels: int
    share_frac: float
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class LotFromLots:
    """A lot made from other lots; the shares of its parents add up to 1."""

    tag: str
    name: str
    line: str
    kind: str
    year: int
    kernels: int
    parents: tuple[ParentShare, ...]
    basis: Basis


def split_lot(on: Occasion, tag_or_name: str, kernels: int, name: str, used_for: str = "") -> LotFromLots:
    """Put some kernels of a lot into a lot of their own: same line, kind, year, germination, kernel weight.

    Raises
    ------
    InputRefused
        If the name is taken, or the lot holds fewer kernels that nobody was promised.
    """
    return _make(on, [(tag_or_name, kernels)], name, "", used_for, is_bulk=False)


def bulk_lots(
    on: Occasion, parts: Sequence[tuple[str, int]], name: str, line: str = "", used_for: str = ""
) -> LotFromLots:
    """Mix kernels of several lots into one bulk.

    Parameters
    ----------
    parts
        Lots by tag or name, each with the kernels it gives.
    name
        Name of the bulk.
    line
        The line that the bulk is; may be left out where all parents are of one line.

    Returns
    -------
    LotFromLots
        Shares are kernels given over all kernels, so they add up to 1.

    Raises
    ------
    InputRefused
        If fewer than two lots are named, one twice, the lines differ and none is named, or a lot holds fewer kernels
        that nobody was promised.

    Notes
    -----
    The bulk has the year of its oldest parent, so that its age is never told too young; the germination of a mixture
    is not known until it is tested. Its kernel weight is the mean of the parents' by kernels, where all are known.
    """
    return _make(on, parts, name, line, used_for, is_bulk=True)


def _make(
    on: Occasion, parts: Sequence[tuple[str, int]], name: str, line: str, used_for: str, is_bulk: bool
) -> LotFromLots:
    station, name = get_station(on.station), name.strip()
    if is_bulk and len(parts) < 2:
        raise refuse("bulk_of_one", "A bulk needs two lots or more.", "Name them, or split the one lot.")
    with transaction.atomic():
        # The tag locks the station: a name or kernels taken meanwhile are seen.
        tag = take_tags(station, "lot", 1)[0]
        check_lot_name(station, name)
        given = [(get_lot(station, which), kernels) for which, kernels in parts]
        _check_once([lot for lot, _ in given])
        before = [_check_free(lot, kernels) for lot, kernels in given]
        made = _store(on, station, tag, name, _choose_line(station, [lot for lot, _ in given], line), given, is_bulk)
        total = sum(kernels for _, kernels in given)
        for lot, kernels in given:
            told = used_for or ("into bulk " if is_bulk else "into lot ") + name
            add_movement(on, lot, -kernels, "split", told)
            LotOrigin.objects.create(station=station, lot=made, parent_lot=lot, share_frac=kernels / total)
        add_movement(on, made, total, "split", f"from {', '.join(lot.name for lot, _ in given)}")
    parents = tuple(
        ParentShare(lot.tag, lot.name, kernels, kernels / total, held, held - kernels)
        for (lot, kernels), held in zip(given, before, strict=True)
    )
    missing = ("a germination test of the mixture",) if is_bulk else ()
    basis = Basis((("lots", len(parents)),), missing)
    return LotFromLots(tag, name, made.line.name, made.kind, made.year, total, parents, basis)


def _check_once(lots: Sequence[Lot]) -> None:
    twice = [name for name, times in Counter(lot.name for lot in lots).items() if times > 1]
    if twice:
        raise refuse("lot_twice", f"Lot {twice[0]} is named twice.", "Name it once, with all its kernels.")


def _check_free(lot: Lot, kernels: int) -> int:
    """Kernels that the lot holds now; refused if it cannot give so many."""
    if not 1 <= kernels <= MOST_KERNELS:
        raise refuse("kernels_wrong", f"{kernels} kernels cannot be moved.", f"Write 1 to {MOST_KERNELS:,}.")
    stock = read_lot_stock(lot)
    if stock.kernels < kernels:
        told = f"Lot {lot.name} holds {stock.kernels} kernels; {kernels} cannot leave it."
        raise refuse("stock_too_small", told, "Take fewer, or count the lot first.", lot=lot.name)
    if stock.free < kernels:
        told = f"Of lot {lot.name} {stock.reserved} of {stock.kernels} kernels are promised to the plan."
        raise refuse("stock_promised", told, f"Take {max(0, stock.free)} or fewer, or give up a promise first.")
    return stock.kernels


def _choose_line(station: Station, lots: Sequence[Lot], line: str) -> Line:
    if line:
        return get_line(station, line)
    lines = {lot.line_id: lot.line for lot in lots}
    if len(lines) > 1:
        names = ", ".join(sorted(one.name for one in lines.values()))
        raise refuse("bulk_of_lines", f"The lots are of several lines: {names}.", "Name the line that the bulk is.")
    return lots[0].line


def _store(
    on: Occasion,
    station: Station,
    tag: str,
    name: str,
    line: Line,
    given: Sequence[tuple[Lot, int]],
    is_bulk: bool,
) -> Lot:
    first, total = given[0][0], sum(kernels for _, kernels in given)
    weights = [(lot.kernel_weight_mg, kernels) for lot, kernels in given]
    known = [mg * kernels for mg, kernels in weights if mg is not None]
    lot = Lot(
        station=station,
        tag=tag,
        name=name,
        line=line,
        kind="bulk" if is_bulk else first.kind,
        origin="lots",
        origin_text="; ".join(one.name for one, _ in given)[:200],
        year=min(one.year for one, _ in given),
        kernel_weight_mg=sum(known) / total if len(known) == len(weights) else None,
    )
    if not is_bulk:
        lot.germination_frac = first.germination_frac
        lot.germination_tested_on = first.germination_tested_on
        lot.germination_seeds = first.germination_seeds
    lot.save()
    return lot
