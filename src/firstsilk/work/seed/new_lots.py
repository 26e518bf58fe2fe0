"""Which lots do the shelled ears of a season become?

A lot is made from the notes: each kernel's mother is the row, its father what the pollination notes say. Where the
notes cannot tell, no lot is made and a finding says why.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeAlias

from django.db import transaction

from firstsilk.answers import Finding, InputRefused, Place
from firstsilk.records.models import Line, Lot, LotOrigin, Movement, Row, Season, Station
from firstsilk.science.flowering.bags import Shares, name_givers
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import RowState, keep_standing_notes, read_row_states
from firstsilk.science.lineage.generation import POLLINATIONS
from firstsilk.work.flowering.states import read_notes
from firstsilk.work.lineage.generations import is_fixed
from firstsilk.work.nursery.as_sown import read_true_lines
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.ears import WITHIN, EarGroup, group_ears, part_by_bag
from firstsilk.work.seed.progeny import find_or_make_bulk_progeny, find_or_make_progeny
from firstsilk.work.shelf import get_season, get_station, take_tags


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


Made: TypeAlias = tuple[Lot, str]
"""A lot made before, and the one bag of its kernels; empty for kernels of a whole row."""


@dataclass(slots=True)
class Harvest:
    """What making lots has at hand."""

    on: Occasion
    station: Station
    season: Season
    rows: dict[str, Row]
    lines: dict[str, Line]
    line_of: dict[str, str]
    notes: dict[str, list[Note]]
    made_before: dict[tuple[int, str], list[Made]]
    givers: dict[str, tuple[Shares, str]]
    names: set[str]
    ears_apart: bool = False
    findings: list[Finding] = field(default_factory=list)


def make_lots(on: Occasion, season: str, ears_apart: bool = False) -> MadeLots:
    """Make a lot of every row whose kernels are noted and that has none yet.

    Parameters
    ----------
    on
        The occasion.
    season
        The season; the latest if empty.
    ears_apart
        Keep selfed ears apart whose kernels were noted by bag: each is a lot and a family of its own (ear to row).

    Notes
    -----
    The father is the line of the male rows in the pollination notes, or in the bag that a note without a male names. A
    bag with pollen of several lines is a bulk: its seed has a set of fathers, each with its share by tassels. A row
    with two kinds of pollination, or with males of different lines, makes a lot for each if bag numbers tell its
    kernels apart; those that no bag tells make none. Making lots again makes only what is new. One selfed ear alone is
    a family of its own, several together are a bulk.
    """
    station = get_station(on.station)
    with transaction.atomic():
        Station.objects.select_for_update().get(pk=station.pk)
        book = get_season(station, season, on.today)
        every = list(Row.objects.filter(station=station, season=book).select_related("line", "lot").order_by("number"))
        notes = read_notes(station, [row.tag for row in every], on.today)
        states = read_row_states(notes, on.today)
        harvest = open_harvest(on, station, book, every, states, notes, ears_apart)
        made = []
        for row in every:
            if row.purpose in ("self", "female") and row.tag in states and states[row.tag].kernels:
                made += _make_row_lots(harvest, row, states[row.tag])
    own = [states[row.tag] for row in every if row.tag in states]
    unshelled = sum(1 for state in own if state.ears_picked and not state.kernels)
    missing = (f"kernels of {unshelled} rows whose ears are picked",) if unshelled else ()
    used = (("rows with kernels noted", sum(1 for state in own if state.kernels)),)
    return MadeLots(book.name, tuple(made), tuple(harvest.findings), Basis(used, missing))


def open_harvest(
    on: Occasion,
    station: Station,
    season: Season,
    rows: Sequence[Row],
    states: Mapping[str, RowState],
    notes: Sequence[Note],
    ears_apart: bool,
    only: Row | None = None,
) -> Harvest:
    """Gather what making lots needs, once for a season, or for `only` one of its rows."""
    lines = read_true_lines(rows, states)
    by_tag: dict[str, list[Note]] = defaultdict(list)
    replaced = [note for note in notes if note.replaces]
    for note in notes:
        by_tag[note.tag].append(note)
    for tag in {row.tag for row in rows}:
        by_tag[tag] = [*by_tag[tag], *(note for note in replaced if note.tag != tag)]
    origins = LotOrigin.objects.filter(station=station, row__season=season, row__isnull=False)
    origins = origins.filter(row=only) if only else origins
    before = _find_made(origins.select_related("lot", "male_row__line"))
    start = f"{season.name}-{only.number:04d}" if only else season.name
    names = set(Lot.objects.filter(station=station, name__startswith=start).values_list("name", flat=True))
    line_of = {tag: line.name for tag, line in lines.items()}
    givers = name_givers(keep_standing_notes(notes)[0])
    return Harvest(
        on, station, season, {row.tag: row for row in rows}, lines, line_of, by_tag, before, givers, names, ears_apart
    )


def _find_made(origins: Iterable[LotOrigin]) -> dict[tuple[int, str], list[Made]]:
    """Lots made before with their bags, by row and father's line as planned; of a pollen bulk by all lines in it."""
    rows: dict[int, tuple[int, Made]] = {}
    fathers: dict[int, set[str]] = defaultdict(set)
    for one in origins:
        if one.row_id is not None:
            rows[one.lot_id] = (one.row_id, (one.lot, one.bag))
            fathers[one.lot_id] |= {one.male_row.line.name} if one.male_row else set()
    made: dict[tuple[int, str], list[Made]] = defaultdict(list)
    for lot_id, (row, lot) in rows.items():
        made[row, "+".join(sorted(fathers[lot_id]))].append(lot)
    return made


def _make_row_lots(harvest: Harvest, row: Row, state: RowState) -> list[NewLot]:
    ears = group_ears(harvest.notes[row.tag], row.tag, harvest.line_of, harvest.givers)
    if not ears.ways:
        repair = "Note the pollination it came from"
        harvest.findings.append(tell_no_lot(row, "no_pollination", "kernels but no pollination noted", repair))
        return []
    if ears.unassigned:
        ways = ", ".join(f"{kind} with {father or 'its own pollen'}" for kind, father in ears.ways)
        told = f"{ears.unassigned} kernels cannot be told apart; pollinated as {ways}"
        repair = "Note its kernels by bag number, or take the wrong pollination note back"
        harvest.findings.append(tell_no_lot(row, "fathers_mixed", told, repair))
    made = []
    is_alone = len(ears.ways) == 1
    parts = [part for group in ears.groups for part in _part_ears(harvest, row, state, group, is_alone)]
    for group, one_ear in parts:
        lot = _make_lot(harvest, row, state, group, is_alone, one_ear)
        if isinstance(lot, Finding):
            harvest.findings.append(lot)
        elif lot is not None:
            made.append(lot)
    return made


def _part_ears(
    harvest: Harvest, row: Row, state: RowState, group: EarGroup, is_alone: bool
) -> list[tuple[EarGroup, bool]]:
    """A group, or one for each selfed ear that is kept apart; and whether each is one ear."""
    if group.kind != "self" or is_fixed(harvest.lines[row.tag]):
        return [(group, False)]
    before = harvest.made_before.get((row.pk, ""), [])
    is_bulk = any(not bag for _, bag in before)
    if harvest.ears_apart and group.bag_kernels and not is_bulk:
        return [(keep_notes(harvest, row, part), bool(part.bags)) for part in part_by_bag(group)]
    return [(group, is_alone and state.ears_picked == 1)]


def keep_notes(harvest: Harvest, row: Row, part: EarGroup) -> EarGroup:
    """An ear with the pollination notes of its own bag, where there are any."""
    own = {note.id for note in harvest.notes[row.tag] if note.bag in part.bags}
    return replace(part, notes=tuple(one for one in part.notes if one in own) or part.notes)


def _make_lot(
    harvest: Harvest, row: Row, state: RowState, group: EarGroup, is_alone: bool, one_ear: bool
) -> NewLot | Finding | None:
    problem = find_problem(harvest, harvest.lines[row.tag], group)
    if problem is not None:
        return tell_no_lot(row, *problem)
    males, fathers = find_males(harvest, group)
    before = harvest.made_before.get((row.pk, father_key(males)), [])
    if one_ear and group.bags and before:
        before = [one for one in before if one[1] in group.bags]
    if before:
        return _compare_with_lots(row, [lot for lot, _ in before], group.kernels)
    changed = _find_changed(harvest, row, group, state.kernels)
    return changed or store_new_lot(harvest, row, state, group, males, fathers, is_alone, one_ear)


def find_males(harvest: Harvest, group: EarGroup) -> tuple[list[tuple[Row, float]], dict[str, Line]]:
    """Male rows with shares, and their lines by name. Rows of one line are one father, the first stands for all."""
    males = [] if group.kind in WITHIN else [(harvest.rows[tag], share) for tag, share in group.shares]
    fathers = {harvest.line_of[male.tag]: harvest.lines[male.tag] for male, _ in males}
    return (males if len(fathers) > 1 else [(male, 1.0) for male, _ in males[:1]]), fathers


def father_key(males: Iterable[tuple[Row, float]]) -> str:
    """Lines of the males as planned, by which a lot made before is found again."""
    return "+".join(sorted({male.line.name for male, _ in males}))


def store_new_lot(
    harvest: Harvest,
    row: Row,
    state: RowState,
    group: EarGroup,
    males: Sequence[tuple[Row, float]],
    fathers: Mapping[str, Line],
    is_alone: bool,
    one_ear: bool,
    is_booked: bool = True,
) -> NewLot | Finding:
    """Make the lot of a group of ears, with its line; a finding where its line cannot be told.

    Without `is_booked` the lot is empty, and whoever asked moves the kernels in.
    """
    mother = harvest.lines[row.tag]
    try:
        # A fault inside must leave no half-made line behind.
        with transaction.atomic():
            line, is_new = _find_line(harvest, group.kind, mother, list(fathers.values()), one_ear)
    except InputRefused as refused:
        return tell_no_lot(row, "progeny_unclear", str(refused).rstrip("."), "Correct the line's record or the note")
    way = "" if is_alone else f"x{males[0][0].number:04d}" if males else f"-{group.kind}"
    name = _name_lot(harvest, row, f"-{line.derived_plant}" if one_ear else way)
    lot = _store_lot(harvest, row, males, group, line, name)
    if is_booked:
        _move_in(harvest, lot, row, group, state)
    return NewLot(lot.tag, name, line.name, row.number, "+".join(sorted(fathers)), group.kernels, is_new)


def _find_changed(harvest: Harvest, row: Row, group: EarGroup, noted: int) -> Finding | None:
    """Kernels that stand in a lot already, made before a note of their pollination was corrected: no second lot."""
    others = [lot for (key, _), made in harvest.made_before.items() if key == row.pk for lot, _ in made]
    if not others:
        return None
    booked = count_booked(others)
    if booked + group.kernels <= noted:
        return None
    names = ", ".join(sorted(lot.name for lot in others))
    told = (
        f"lot {names} holds {booked} of the {noted} kernels noted, but {group.kernels} are now noted as "
        f"{group.kind} with {group.father or 'its own pollen'}"
    )
    repair = "Correct the note, or take the lot's kernels back and make it anew"
    return tell_no_lot(row, "pollination_changed", told, repair)


def count_booked(lots: Iterable[Lot]) -> int:
    """Kernels that came into these lots from the field, less those taken back."""
    return sum(Movement.objects.filter(lot__in=list(lots), reason="harvested").values_list("kernels", flat=True))


def _find_line(harvest: Harvest, kind: str, mother: Line, fathers: list[Line], one_ear: bool) -> tuple[Line, bool]:
    if len(fathers) > 1:
        return find_or_make_bulk_progeny(harvest.station, mother, fathers)
    return find_or_make_progeny(harvest.station, kind, mother, fathers[0] if fathers else None, one_ear)


def find_problem(harvest: Harvest, mother: Line, group: EarGroup) -> tuple[str, str, str] | None:
    """Why no lot can be made of a group: code, what is odd, repair; None if one can."""
    kind, father = group.kind, group.father
    known = POLLINATIONS.get(kind)
    if known is None:
        return "kind_unknown", f"{kind or 'nothing'!r} is no kind of pollination known here", "Note it again"
    if kind in WITHIN and father:
        told = f"noted as {kind}, but with pollen of {father}"
        return "self_with_other_male", told, "Take the note back and write it with its right kind or male"
    if known.father != "needed":
        return None
    unknown = [tag for tag in group.males if tag not in harvest.rows]
    if unknown or not father:
        told = f"the male of its {kind} is not a row of this season: {', '.join(unknown) or 'none noted'}"
        return "father_unknown", told, "Take the note back and write it with the male row"
    if mother.name in father.split("+"):
        told = f"noted as {kind}, but its male is of its own line"
        return "father_is_mother", told, "Take the note back and write it as a sib, or with the right male"
    return None


def _compare_with_lots(row: Row, lots: Sequence[Lot], kernels: int) -> Finding | None:
    """A row whose lots are made already: odd only if the notes now say something else."""
    booked = count_booked(lots)
    if booked == kernels:
        return None
    names = ", ".join(lot.name for lot in lots)
    which = f"lot {names} was" if len(lots) == 1 else f"lots {names} were"
    told = f"{which} made with {booked} kernels, the notes now say {kernels}"
    return tell_no_lot(row, "kernels_changed", told, "Count the lot and enter the count at the desk")


def _name_lot(harvest: Harvest, row: Row, way: str) -> str:
    """``2031-0012``; with several fathers ``2031-0012x0034``; one selfed ear ``2031-0012-3``, year, row and plant.

    A letter more where the name is taken.
    """
    name = f"{harvest.season.name}-{row.number:04d}{way}"
    free = next(one for one in (name, *(f"{name}{sign}" for sign in "bcdefghijkm")) if one not in harvest.names)
    harvest.names.add(free)
    return free


def _store_lot(
    harvest: Harvest,
    row: Row,
    males: Sequence[tuple[Row, float]],
    group: EarGroup,
    line: Line,
    name: str,
) -> Lot:
    station, season = harvest.station, harvest.season
    told = f"row {row.number} of {season.name}" + (f", bags {', '.join(group.bags)}" if group.bags else "")
    lot = Lot.objects.create(
        station=station,
        tag=take_tags(station, "lot", 1)[0],
        name=name,
        line=line,
        kind="ears",
        origin="open_pollinated" if group.kind == "open" else "male_set" if len(males) > 1 else "pollinations",
        origin_text=told[:200],
        year=season.year,
    )
    bags = group.bags or tuple({note.bag for note in harvest.notes[row.tag] if note.id in group.notes})
    fathers: Sequence[tuple[Row | None, float]] = males or [(None, 1.0)]
    for male, share in fathers:
        LotOrigin.objects.create(
            station=station,
            lot=lot,
            row=row,
            male_row=male,
            note=group.notes[0] if group.notes else None,
            bag=bags[0] if len(bags) == 1 else "",
            share_frac=share,
        )
    return lot


def _move_in(harvest: Harvest, lot: Lot, row: Row, group: EarGroup, state: RowState) -> None:
    on = harvest.on
    ears = f"{len(group.bags)} bags" if group.bags else f"{state.ears_picked} ears"
    Movement.objects.create(
        station=harvest.station,
        lot=lot,
        kernels=group.kernels,
        reason="harvested",
        used_for=f"{ears} of row {row.number}",
        moved_on=on.today,
        recorded_at=on.now,
        recorded_by=on.who,
    )


def tell_no_lot(row: Row, code: str, told: str, repair: str) -> Finding:
    """Why a row makes no lot."""
    return Finding(code, f"row {row.number} ({row.line.name}): {told}", Place(), row.tag, repair, stops=False)
