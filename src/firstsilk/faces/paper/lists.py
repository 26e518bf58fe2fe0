"""What does a crew leader carry for today, and a planter operator for a trial?

The day sheet: tasks in walking order with their reason. The packet list: packets in planting order, with call-backs.
Rows of these lists grow with their text; nothing is cut but a single word wider than its column.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import refuse
from firstsilk.faces.paper.lettering import check_lettering, cut_words
from firstsilk.faces.paper.press import print_sheet
from firstsilk.faces.paper.tags import MARKS, write_day
from firstsilk.faces.paper.walkbook import order_for_walking, write_newest_note
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.cautions import CAUTIONS, LIMITS


@dataclass(frozen=True, slots=True)
class DayTask:
    """One row's work today, its steps parted by ``; ``. `blocked`, where not empty, says why nobody may go in."""

    tag: str
    number: int
    field_row: int
    field_col: int
    line: str
    do: str
    why: str
    purpose: str = ""
    blocked: str = ""


@dataclass(frozen=True, slots=True)
class DaySheet:
    """One day's list for one crew leader. `weather` and `short_of` are plain sentences, or empty."""

    station: str
    site: str
    season: str
    day: date
    leader: str
    tasks: tuple[DayTask, ...]
    weather: str = ""
    short_of: str = ""
    chain_hash: str = ""
    chain_position: int = 0


@dataclass(frozen=True, slots=True)
class TrialPacket:
    """One packet of a trial: for which plot, and what is in it."""

    plot: int
    rep: int
    block: int | None
    entry: str
    lot: str
    kernels: int
    field_row: int
    field_col: int


@dataclass(frozen=True, slots=True)
class PacketList:
    """The packets of one trial in planting order; after every `call_back_every` packets the crew compares aloud."""

    station: str
    trial: str
    site: str
    season: str
    printed_on: date
    packets: tuple[TrialPacket, ...]
    call_back_every: int = 10


def render_day_sheet(sheet: DaySheet) -> bytes:
    """Print a day sheet, A4 portrait: rows nobody may enter first, then the tasks in serpentine order, then cautions.

    Raises
    ------
    InputRefused
        If there is no task, a tag is damaged, or a sign cannot be printed.
    StationFault
        If the sheet could not be set.

    Checked by
    ----------
    tests/faces/test_paper.py
    """
    if not sheet.tasks:
        raise refuse("nothing_to_print", f"There is no task on {write_day(sheet.day)}", "Choose another day.")
    check_lettering(
        (name, getattr(sheet, name)) for name in ("station", "site", "season", "leader", "weather", "short_of")
    )
    check_lettering(
        (f"row {task.number:04d}, {name}", getattr(task, name))
        for task in sheet.tasks
        for name in ("line", "do", "why", "blocked")
    )
    tasks = order_for_walking(sheet.tasks)
    data = {
        "title": f"Day sheet {write_day(sheet.day)}" + (f", {sheet.leader}" if sheet.leader else ""),
        "station": sheet.station,
        "site": sheet.site,
        "season": sheet.season,
        "day": write_day(sheet.day),
        "leader": sheet.leader,
        "weather": sheet.weather,
        "short_of": sheet.short_of,
        "newest": write_newest_note(sheet.chain_hash, sheet.chain_position),
        "blocked": _group_blocked(tasks),
        "tasks": [_set_task(task) for task in tasks if not task.blocked],
        "cautions": [[caution.name, caution.text] for caution in CAUTIONS],
        "limits": LIMITS,
    }
    return print_sheet("day_sheet", data)


def render_packet_list(packets: PacketList) -> bytes:
    """Print a packet list, A4 portrait, in the order given.

    Raises
    ------
    InputRefused
        If there is no packet, a plot comes twice, or a sign cannot be printed.
    StationFault
        If the sheet could not be set.

    Checked by
    ----------
    tests/faces/test_paper.py
    """
    if not packets.packets:
        raise refuse("nothing_to_print", f"There is no packet in {packets.trial}", "Lay the trial out first.")
    _check_plots(packets.packets)
    check_lettering((name, getattr(packets, name)) for name in ("station", "trial", "site", "season"))
    check_lettering(
        (f"plot {it.plot}, {name}", getattr(it, name)) for it in packets.packets for name in ("entry", "lot")
    )
    data = {
        "title": f"Packets of {packets.trial}",
        "trial": packets.trial,
        "station": packets.station,
        "site": packets.site,
        "season": packets.season,
        "printed": write_day(packets.printed_on),
        "kernels": f"{sum(packet.kernels for packet in packets.packets):,}",
        "every": packets.call_back_every,
        "packets": [_set_packet(packet) for packet in packets.packets],
    }
    return print_sheet("packet_list", data)


def _check_plots(packets: Iterable[TrialPacket]) -> None:
    seen: set[int] = set()
    for packet in packets:
        if packet.plot in seen:
            raise refuse("plot_twice", f"Plot {packet.plot} has two packets", "Give each plot one packet.")
        seen.add(packet.plot)


def _group_blocked(tasks: Iterable[DayTask]) -> list[list[str]]:
    """Each reason with the numbers of its rows."""
    rows: dict[str, list[int]] = {}
    for task in tasks:
        if task.blocked:
            rows.setdefault(task.blocked, []).append(task.number)
    return [[reason, ", ".join(f"{number:04d}" for number in sorted(numbers))] for reason, numbers in rows.items()]


def _set_task(task: DayTask) -> dict[str, object]:
    return {
        "number": f"{task.number:04d}",
        "tag": print_tag(task.tag),
        "place": f"{task.field_row} / {task.field_col}",
        "mark": MARKS.get(task.purpose, ""),
        "line": cut_words(task.line, 66, 9),
        "do": [cut_words(step, 66, 12, bold=True) for step in task.do.split("; ")],
        "why": cut_words(task.why, 42, 9),
    }


def _set_packet(packet: TrialPacket) -> dict[str, object]:
    return {
        "plot": str(packet.plot),
        "rep": str(packet.rep),
        "block": "–" if packet.block is None else str(packet.block),
        "entry": cut_words(packet.entry, 46, 12, bold=True),
        "lot": cut_words(packet.lot, 29, 10),
        "kernels": str(packet.kernels),
        "place": f"{packet.field_row} / {packet.field_col}",
    }
