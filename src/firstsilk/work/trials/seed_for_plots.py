"""From which lot is each plot sown, and is there enough?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from firstsilk.answers import InputRefused, Refusal
from firstsilk.records.models import Line, Station
from firstsilk.work.seed.stock import LotStock, read_stock


def pick_lots(
    station: Station, entries: Sequence[Line], packets: int, kernels_per_plot: int
) -> dict[int, tuple[LotStock, ...]]:
    """For each entry (by the books' number of the line) the lot of each of its packets.

    Parameters
    ----------
    station, entries
        Whose books, and the lines to be sown.
    packets
        Packets of each entry.
    kernels_per_plot
        Kernels in one packet.

    Returns
    -------
    dict
        `packets` lots for each line.

    Raises
    ------
    InputRefused
        If any entry is short; every short entry is named with how much is missing.

    Notes
    -----
    The oldest lot that covers all packets of an entry is taken whole, so that an entry is one seed everywhere. If
    none does, packets are filled from the oldest lot on; a packet is never mixed from two lots.
    """
    by_name = {line.name: line.pk for line in entries}
    free: dict[int, tuple[LotStock, ...]] = {}
    for lot in read_stock(station, list(by_name)):
        if lot.free > 0:
            free[by_name[lot.line]] = (*free.get(by_name[lot.line], ()), lot)
    picked = {line.pk: _fill_packets(free.get(line.pk, ()), packets, kernels_per_plot) for line in entries}
    short = [line for line in entries if len(picked[line.pk]) < packets]
    if short:
        raise _refuse_short(short, free, packets, kernels_per_plot)
    return picked


def _fill_packets(lots: tuple[LotStock, ...], packets: int, kernels: int) -> tuple[LotStock, ...]:
    whole = next((lot for lot in lots if lot.free >= packets * kernels), None)
    if whole is not None:
        return (whole,) * packets
    filled: list[LotStock] = []
    for lot in lots:
        filled += [lot] * (lot.free // kernels)
    return tuple(filled[:packets])


def _refuse_short(
    short: Sequence[Line],
    free: Mapping[int, tuple[LotStock, ...]],
    packets: int,
    kernels: int,
) -> InputRefused:
    facts = []
    for line in short:
        lying = sum(lot.free for lot in free.get(line.pk, ()))
        lack = packets * kernels - lying
        missing = f"{lack} missing" if lack > 0 else "in lots that do not fill whole packets"
        facts.append((line.name, f"{packets * kernels} kernels wanted, {lying} free, {missing}"))
    told = "; ".join(f"{name}: {fact}" for name, fact in facts)
    refusal = Refusal(
        "seed_short",
        f"Seed is short for {len(facts)} of the entries: {told}.",
        tuple(facts),
        "Take fewer kernels a plot or fewer replicates, leave these entries out, or bring more seed in first.",
    )
    return InputRefused(refusal=refusal)
