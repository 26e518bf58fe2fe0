"""Which packet is sown where, in which order are they stacked, and when does the seed leave its lot?"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from django.db import transaction

from firstsilk.answers import refuse
from firstsilk.records.models import Movement, Plot, Reservation, Station, Trial
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import get_station, get_trial
from firstsilk.work.standing import promises_on
from firstsilk.work.trials.reading import find_trial_on


@dataclass(frozen=True, slots=True)
class Packet:
    """One packet: its place in the planting order, its plot, what is in it and from which lot."""

    order: int
    plot: int
    plot_tag: str
    rep: str
    block: str
    field_row: int | None
    field_col: int | None
    entry: str
    is_check: bool
    lot: str
    lot_tag: str
    shelf: str
    kernels: int | None


@dataclass(frozen=True, slots=True)
class PacketList:
    """All packets of a trial in planting order, and whether they are filled."""

    trial: str
    site: str
    year: int
    packets: tuple[Packet, ...]
    reserved_kernels: int
    packed_kernels: int
    basis: Basis

    @property
    def is_packed(self) -> bool:
        """Whether seed has left its lots for this trial and none is still held."""
        return self.packed_kernels > 0 and self.reserved_kernels == 0


def list_packets(on: Occasion, trial: str) -> PacketList:
    """The packets of a trial in planting order: plot by plot, as the serpentine runs.

    Raises
    ------
    InputRefused
        If there is no such trial.
    """
    station = get_station(on.station)
    found = find_trial_on(on, station, trial)
    plots = Plot.objects.filter(station=station, trial=found).select_related("entry", "lot").order_by("number")
    packets = tuple(_packet(at, plot, found.kernels_per_plot) for at, plot in enumerate(plots, 1))
    held = promises_on(station, on.today).filter(trial=found)
    taken = Movement.objects.filter(station=station, reason="packed", used_for=_purpose(found), moved_on__lte=on.today)
    lotless = sum(not packet.lot for packet in packets)
    missing = (f"{lotless} plots name no lot",) if lotless else ()
    return PacketList(
        found.name,
        found.site.code,
        found.year,
        packets,
        sum(held.values_list("kernels", flat=True)),
        -sum(taken.values_list("kernels", flat=True)),
        Basis((("plots", len(packets)), ("lots", len({packet.lot for packet in packets if packet.lot}))), missing),
    )


def pack_trial(on: Occasion, trial: str) -> PacketList:
    """Book the packets as filled: the seed leaves its lots and the reservations end. Doing it twice changes nothing.

    Raises
    ------
    InputRefused
        If the trial holds no seed and none was packed, or a lot has less than was promised.
    """
    station = get_station(on.station)
    found = get_trial(station, trial)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        held = list(
            Reservation.objects.filter(station=station, trial=found, released_on__isnull=True).select_related(
                "lot__line"
            )
        )
        if held:
            _check_stock(station, found, held)
            _move_out(on, station, found, held)
    packets = list_packets(on, trial)
    if not packets.packed_kernels:
        raise refuse("nothing_reserved", f"Trial {trial} holds no seed in reserve.", "Lay it out here first.")
    return packets


def _purpose(trial: Trial) -> str:
    return f"trial {trial.name}"


def _check_stock(station: Station, trial: Trial, held: list[Reservation]) -> None:
    wanted = Counter[int]()
    for one in held:
        wanted[one.lot_id] += one.kernels
    stock = [lot for lot in read_stock(station, {one.lot.line.name for one in held}) if wanted[lot.id] > lot.kernels]
    if stock:
        told = "; ".join(f"lot {lot.name}: {wanted[lot.id] - lot.kernels} kernels missing" for lot in stock)
        raise refuse("lot_short", f"Packets of {trial.name} cannot be filled: {told}.", "Count these lots once more.")


def _move_out(on: Occasion, station: Station, trial: Trial, held: list[Reservation]) -> None:
    Movement.objects.bulk_create(
        [
            Movement(
                station=station,
                lot_id=one.lot_id,
                kernels=-one.kernels,
                reason="packed",
                used_for=_purpose(trial),
                moved_on=on.today,
                recorded_at=on.now,
                recorded_by=on.who,
            )
            for one in held
        ],
        batch_size=500,
    )
    Reservation.objects.filter(pk__in=[one.pk for one in held]).update(released_on=on.today)


def _packet(order: int, plot: Plot, kernels: int | None) -> Packet:
    lot = plot.lot
    return Packet(
        order,
        plot.number,
        plot.tag,
        plot.rep,
        plot.block,
        plot.field_row,
        plot.field_col,
        plot.entry.name,
        plot.is_check or plot.entry.is_check,
        lot.name if lot else "",
        lot.tag if lot else "",
        " ".join(part for part in (lot.shelf, lot.box, lot.slot) if part) if lot else "",
        kernels,
    )
