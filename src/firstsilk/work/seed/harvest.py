"""Which ears were picked and shelled, and which lots do they become?

Ears and kernels are noted on rows or bags. A lot is made from the notes: each kernel's mother is the row, its father
what the pollination notes say. Where the notes cannot tell, no lot is made and a finding says why.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from firstsilk.answers import Finding, Place, refuse
from firstsilk.records.models import Line, Lot, LotOrigin, Movement, Row, Season, Station
from firstsilk.science.flowering.rows import RowState
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.states import read_states
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.progeny import find_or_make_progeny
from firstsilk.work.shelf import get_season, get_station, take_tags


@dataclass(frozen=True, slots=True)
class Picked:
    """Good ears picked from a row and the kernels shelled from them, as far as known; with a bag, of that ear."""

    row: int
    ears: int | None = None
    kernels: int | None = None
    bag: str = ""


@dataclass(frozen=True, slots=True)
class Harvested:
    """Notes written for a harvest."""

    season: str
    noted: int
    findings: tuple[Finding, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class NewLot:
    """A lot made from the notes: its tag and name, its line, from which row, by which father, how many kernels."""

    tag: str
    name: str
    line: str
    row: int
    male: str
    kernels: int
    is_new_line: bool


@dataclass(frozen=True, slots=True)
class MadeLots:
    """All lots made in one go, and the rows for which none could be made."""

    season: str
    lots: tuple[NewLot, ...]
    findings: tuple[Finding, ...]
    basis: Basis


def record_harvest(on: Occasion, season: str, picked: Sequence[Picked], source: str = "desk") -> Harvested:
    """Note ears and kernels, all or none; more ears than were pollinated is a finding, never a refusal."""
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    tags = dict(Row.objects.filter(station=station, season=book).values_list("number", "tag"))
    drafts: list[NoteDraft] = []
    for one in picked:
        if one.row not in tags:
            raise refuse("row_unknown", f"There is no row {one.row} in season {book.name}.", "Check the row number.")
        for kind, count, unit in (("ears_picked", one.ears, "ears"), ("shelled", one.kernels, "kernels")):
            if count is not None and count < 0:
                raise refuse("count_negative", f"Row {one.row}: {count} {unit} cannot be.", "Write 0 or more.")
            if count is not None:
                drafts.append(NoteDraft(kind, tags[one.row], value=str(count), bag=one.bag, unit=unit))
    with transaction.atomic():
        write_notes(on, drafts, source)
    states = read_states(station, [tags[one.row] for one in picked], on.today)
    findings = tuple(
        Finding(
            "more_ears_than_pollinated",
            f"row {number}: {state.ears_picked} ears picked, {state.ears_standing} pollinated and standing",
            Place(column="ears"),
            str(state.ears_picked),
            "Look whether ears of a neighbour row are among them",
            stops=False,
        )
        for number, tag in tags.items()
        if (state := states.get(tag)) is not None and state.ears_picked > state.ears_standing
    )
    return Harvested(book.name, len(drafts), findings, Basis((("rows", len(picked)),)))


def make_lots(on: Occasion, season: str) -> MadeLots:
    """Make a lot of every row whose kernels are noted and that has none yet.

    Notes
    -----
    The father is the male row of the pollination notes. A row with two kinds of pollination, or with two males of
    different lines, makes no lot: its ears cannot be told apart without bag numbers.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    rows = list(
        Row.objects.filter(station=station, season=book, purpose__in=["self", "female"])
        .select_related("line", "target")
        .order_by("number")
    )
    done = set(LotOrigin.objects.filter(station=station, row__season=book).values_list("row_id", flat=True))
    states = read_states(station, [row.tag for row in rows], on.today)
    by_tag = {row.tag: row for row in Row.objects.filter(station=station, season=book).select_related("line")}
    made: list[NewLot] = []
    findings: list[Finding] = []
    with transaction.atomic():
        for row in rows:
            state = states.get(row.tag)
            if row.pk in done or state is None or not state.kernels:
                continue
            lot = _make_lot(on, station, book, row, state, by_tag)
            if isinstance(lot, Finding):
                findings.append(lot)
            else:
                made.append(lot)
    picked = sum(1 for state in states.values() if state.ears_picked)
    unshelled = sum(1 for state in states.values() if state.ears_picked and not state.kernels)
    missing = (f"kernels of {unshelled} rows whose ears are picked",) if unshelled else ()
    return MadeLots(book.name, tuple(made), tuple(findings), Basis((("rows with ears picked", picked),), missing))


def _make_lot(
    on: Occasion, station: Station, season: Season, row: Row, state: RowState, by_tag: dict[str, Row]
) -> NewLot | Finding:
    kinds = {tally.type for tally in state.pollinations if tally.ears}
    males = {tally.male for tally in state.pollinations if tally.ears and tally.male}
    fathers = {by_tag[tag].line.name for tag in males if tag in by_tag}
    unknown = sorted(tag for tag in males if tag not in by_tag)
    if not kinds:
        return _no_lot(row, "no_pollination", "kernels but no pollination noted", "Note the pollination it came from")
    if len(kinds) > 1 or len(fathers) > 1:
        told = f"pollinated as {', '.join(sorted(kinds))} with {', '.join(sorted(fathers)) or 'its own pollen'}"
        return _no_lot(row, "fathers_mixed", told, "Note its ears by bag number, or correct the wrong pollination note")
    kind = kinds.pop()
    if kind not in ("self", "sib", "bulk_sib", "open") and not fathers:
        told = f"the male of its {kind} is not a row of this season: {', '.join(unknown) or 'none noted'}"
        return _no_lot(row, "father_unknown", told, "Correct the pollination note so that it names the male row")
    father = Line.objects.get(station=station, name=fathers.pop()) if fathers and kind not in ("self", "sib") else None
    line, is_new = find_or_make_progeny(station, kind, row.line, father)
    tag = take_tags(station, "lot", 1)[0]
    lot = Lot.objects.create(
        station=station,
        tag=tag,
        name=f"{season.name}-{row.number:04d}",
        line=line,
        kind="ears",
        origin="pollinations" if kind != "open" else "open_pollinated",
        origin_text=f"row {row.number} of {season.name}",
        year=season.year,
    )
    male_row = next((by_tag[tag] for tag in sorted(males) if tag in by_tag), None)
    LotOrigin.objects.create(station=station, lot=lot, row=row, male_row=male_row if father else None)
    Movement.objects.create(
        station=station,
        lot=lot,
        kernels=state.kernels,
        reason="harvested",
        used_for=f"{state.ears_picked} ears of row {row.number}",
        moved_on=on.today,
        recorded_at=on.now,
        recorded_by=on.who,
    )
    return NewLot(tag, lot.name, line.name, row.number, father.name if father else "", state.kernels, is_new)


def _no_lot(row: Row, code: str, told: str, repair: str) -> Finding:
    return Finding(code, f"row {row.number} ({row.line.name}): {told}", Place(), row.tag, repair, stops=False)
