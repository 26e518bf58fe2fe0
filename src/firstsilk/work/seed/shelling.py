"""What is done with one ear, or several on purpose, at the shelling bench: kernels, lot, label, and the way back?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from firstsilk.answers import Finding, refuse
from firstsilk.records.models import Lot, LotOrigin, Movement, Station, Weighing
from firstsilk.science.flowering.bags import name_givers
from firstsilk.science.flowering.crates import as_crate, read_crates
from firstsilk.science.flowering.rows import keep_standing_notes, name_pollen
from firstsilk.science.seed.weighing import weigh_kernels
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.flowering.notes import read_notes as read_written
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.booking import add_movement
from firstsilk.work.seed.ear_lots import EarLot, put_in_lot
from firstsilk.work.seed.evening_rates import read_evening_kernels
from firstsilk.work.seed.new_lots import count_booked
from firstsilk.work.seed.scan_notes import read_scan_notes
from firstsilk.work.seed.season_notes import Ear, SeasonNotes, find_crate, find_ear, print_code
from firstsilk.work.seed.stock import read_lot_stock
from firstsilk.work.shelf import get_lot, get_station

FAR_MANY, FAR_FEW = 3.0, 0.1
"""Kernels beyond so many times what such ears give, or below so small a part, may be those of others (ours)."""
MOST_EARS_AT_ONCE = 60
MOST_KERNELS = 100_000
BLANK = "Sheller, tray and blower empty? Look before the next ear: one lot open on the bench at a time."
CAUTION = (
    "Sheller and blower: guards on, hands out while it runs, sleeves and hair tied. Dust: mask. Local law says who."
)


@dataclass(frozen=True, slots=True)
class BenchEar:
    """One scanned ear: how it is called, its row, line, bag, males, its crate, and ears in it."""

    code: str
    name: str
    row: int
    row_tag: str
    line: str
    bag: str
    kind: str
    males: str
    crate: str
    ears: int


@dataclass(frozen=True, slots=True)
class ShellBench:
    """Ears on the bench that become one lot; kernels to expect of them; the kernel weight known; what is odd."""

    season: str
    crate: str
    ears: tuple[BenchEar, ...]
    expected: int
    known_mg: float | None
    in_crate: int
    cautions: tuple[str, ...]
    basis: Basis


@dataclass(frozen=True, slots=True)
class Shelled:
    """What shelling did, or would do: the lot (none where the notes cannot tell yet), its line, kernels, oddities."""

    tag: str
    name: str
    line: str
    generation: str
    fathers: str
    kernels: int
    before: int
    expected: int
    thousand_g: float | None
    is_new_lot: bool
    is_new_line: bool
    cautions: tuple[str, ...]
    findings: tuple[Finding, ...]
    booked: bool
    basis: Basis


def read_shelling(on: Occasion, season: str, codes: Sequence[str], crate: str = "") -> ShellBench:
    """The ears of these codes as they lie on the bench; a code that means nothing is refused.

    Raises
    ------
    InputRefused
        As `find_ear`; if an ear is scanned twice, or ears of several rows are to be one lot.
    """
    there = read_scan_notes(on, season, codes, crate)
    found = _find_ears(there, codes)
    crate_code = find_crate(there, crate)
    ears = tuple(_tell_ear(there, one, code) for one, code in zip(found, codes, strict=True))
    loose = _count_loose(there, found)
    inside = next((one.inside for one in read_crates(there.standing) if one.code == crate_code), ())
    cautions = []
    if loose:
        told = f"{loose:,} kernels of row {ears[0].row} are noted without a bag already"
        cautions.append(f"{told}: look whether this ear is among them.")
    for ear in ears:
        if ear.crate and crate_code and as_crate(ear.crate) != crate_code:
            cautions.append(f"{ear.name.capitalize()} was put into crate {ear.crate}, not {print_code(crate_code)}.")
        if not ear.kind:
            cautions.append(f"{ear.name.capitalize()}: no pollination is noted; its kernels wait for one.")
    return ShellBench(
        season=there.season.name,
        crate=print_code(crate_code) if crate_code else "",
        ears=ears,
        expected=_expect(on, there, found, ears),
        known_mg=_find_kernel_weight(there, found),
        in_crate=len(inside),
        cautions=tuple(cautions),
        basis=Basis((("ears", sum(one.ears for one in ears)), ("notes", len(there.standing)))),
    )


def _count_loose(there: SeasonNotes, found: Sequence[Ear]) -> int:
    """Kernels of the row that were noted without a bag."""
    count = there.ears.get(found[0].row.tag) if found else None
    return count.total.kernels - sum(one.kernels for one in count.bags) if count else 0


def _find_ears(there: SeasonNotes, codes: Sequence[str]) -> list[Ear]:
    found: list[Ear] = []
    if len(codes) > MOST_EARS_AT_ONCE:
        raise refuse("too_many_ears", f"{len(codes)} ears are too many at once.", "Shell them in parts.")
    for code in codes:
        ear = find_ear(there, code)
        if any((one.row.tag, one.bag) == (ear.row.tag, ear.bag) for one in found):
            raise refuse("ear_twice", f"{ear.name.capitalize()} lies on the bench already.", "Scan the next one.")
        if found and ear.row.tag != found[0].row.tag:
            told = f"{ear.name.capitalize()} is not of row {found[0].row.number}."
            raise refuse("ears_of_several_rows", told, "Make a lot of each row, then mix them: firstsilk bulk.")
        found.append(ear)
    return found


def _tell_ear(there: SeasonNotes, ear: Ear, code: str) -> BenchEar:
    givers = name_givers(there.standing)
    mine = [note for note in there.standing if note.kind == "pollinated" and note.tag == ear.row.tag]
    mine = [note for note in mine if note.bag == ear.bag] if ear.bag else mine
    named = [name_pollen(note, givers) for note in mine]
    males = {
        f"row {there.rows[tag].number} ({there.rows[tag].line.name})"
        for _, shares in named
        for tag, _ in shares
        if tag in there.rows and tag != ear.row.tag
    }
    put = [note for note in there.standing if note.kind == "crated" and note.tag == ear.row.tag and note.bag == ear.bag]
    last = max(put, key=lambda note: (note.taken_local, note.id), default=None)
    return BenchEar(
        code=code,
        name=ear.name,
        row=ear.row.number,
        row_tag=ear.row.tag,
        line=ear.row.line.name,
        bag=print_code(ear.bag) if ear.bag else "",
        kind=" or ".join(sorted({kind for kind, _ in named if kind})),
        males=" and ".join(sorted(males)),
        crate=print_code(as_crate(last.value)) if last else "",
        ears=_count(there, ear),
    )


def _count(there: SeasonNotes, ear: Ear) -> int:
    """Ears that a code stands for: picked, else standing; at least one."""
    count = there.ears.get(ear.row.tag)
    if count is None:
        return 1
    of = next((one for one in count.bags if one.bag == ear.bag), None) if ear.bag else count.total
    return max(1, of.picked or of.standing) if of else 1


def _expect(on: Occasion, there: SeasonNotes, found: Sequence[Ear], ears: Sequence[BenchEar]) -> int:
    """Kernels that so many ears of the line give, by what was known last evening."""
    if not found:
        return 0
    kernels = read_evening_kernels(there.station, found[0].row.line.name, on.today)
    return round(kernels * sum(one.ears for one in ears))


def _find_kernel_weight(there: SeasonNotes, found: Sequence[Ear]) -> float | None:
    """Weight of a kernel in the newest lot that grew on this line, else of the line's own seed [mg]."""
    if not found:
        return None
    line = found[0].row.line_id
    lots = Lot.objects.filter(station=there.station, kernel_weight_mg__isnull=False)
    grown = lots.filter(origins__row__line=line).order_by("-year", "-pk").first()
    own = grown or lots.filter(line=line).order_by("-year", "-pk").first()
    return own.kernel_weight_mg if own else None


def shell_ears(
    on: Occasion,
    season: str,
    codes: Sequence[str],
    kernels: int | None = None,
    net_g: float | None = None,
    samples_g: Sequence[float] = (),
    sample_kernels: int | None = None,
    worker: str = "",
    book: bool = True,
) -> Shelled:
    """Note the kernels of ears, counted or weighed, and make their lot; without `book` only say what that would be.

    Notes
    -----
    Several ears are one lot on purpose: of one row, by one kind of pollination and the same fathers. Kernels weighed
    together are noted as equal parts of the ears. Where no pollination is noted yet the kernels are noted and wait: the
    lot is made by `make_lots` once it is. Checked by tests/work/test_ear_to_lot.py.
    """
    if not codes:
        raise refuse("nothing_entered", "No ear lies on the bench.", "Scan the bag on the ear, or the row's tag.")
    with transaction.atomic():
        # Two benches at once: the second waits, and then finds what the first has booked.
        Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        bench = read_shelling(on, season, codes)
        counted, weight_mg, cautions = _count_kernels(bench, kernels, net_g, samples_g, sample_kernels)
        shelled = _note_kernels(on, bench, codes, counted, worker)
        put = put_in_lot(on, bench.season, bench.ears[0].row_tag, shelled)
        done = _tell_done(bench, put, counted, weight_mg, cautions, book)
        if put.lot is not None and samples_g:
            _remember_weight(on, put, weight_mg, net_g, samples_g, sample_kernels, counted)
        if not book:
            transaction.set_rollback(True)
    return done


def _count_kernels(
    bench: ShellBench,
    kernels: int | None,
    net_g: float | None,
    samples_g: Sequence[float],
    sample_kernels: int | None,
) -> tuple[int, float | None, tuple[str, ...]]:
    """Kernels by count or by weight, the weight of one [mg], and what looks odd."""
    if (kernels is None) == (net_g is None):
        told = (
            "Kernels were counted and weighed." if kernels is not None else "Kernels were neither counted nor weighed."
        )
        raise refuse("nothing_entered", told, "Enter the count, or the weight; one of them.")
    weight_mg, odd = None, []
    if net_g is not None:
        weighed = weigh_kernels(net_g, samples_g, sample_kernels, bench.known_mg)
        kernels, weight_mg, odd = weighed.kernels, weighed.kernel_weight_mg, list(weighed.cautions)
    count = kernels or 0
    if not 1 <= count <= MOST_KERNELS:
        raise refuse(
            "count_wrong", f"{count} kernels cannot be.", f"Write 1 to {MOST_KERNELS:,}; an ear without any is left."
        )
    if bench.expected and not FAR_FEW * bench.expected <= count <= FAR_MANY * bench.expected:
        ears = sum(one.ears for one in bench.ears)
        said = (
            f"{ears} ear{'s' if ears != 1 else ''} of {bench.ears[0].line} would give some {bench.expected:,} kernels"
        )
        odd.append(f"{count:,} kernels, but {said}: look whether the sheller was empty and these are the right ears.")
    return count, weight_mg, tuple(odd)


def _note_kernels(on: Occasion, bench: ShellBench, codes: Sequence[str], kernels: int, worker: str) -> dict[str, str]:
    """Write the notes; returns their bags by id. Kernels of several ears are equal parts, the first ones one more."""
    there = read_scan_notes(on, bench.season, codes)
    found = _find_ears(there, codes)
    share, rest = divmod(kernels, len(found))
    unit = "kernels" if len(found) == 1 else "equal part"
    drafts = [
        NoteDraft("shelled", one.row.tag, str(share + (at < rest)), bag=one.bag, unit=unit, worker=worker)
        for at, one in enumerate(found)
    ]
    if share == 0:
        told = f"{kernels} kernels of {len(found)} ears: some had none."
        raise refuse("ears_without_kernels", told, "Take ears without kernels off the bench; they are left.")
    _refuse_noted(there, found)
    return dict(zip(write_notes(on, drafts), [one.bag for one in found], strict=True))


def _refuse_noted(there: SeasonNotes, found: Sequence[Ear]) -> None:
    """An ear whose kernels are noted already is not shelled again: its kernels would count once only."""
    for one in found:
        count = there.ears.get(one.row.tag)
        of = next((bag for bag in count.bags if bag.bag == one.bag), None) if count and one.bag else None
        if of is not None and of.kernels:
            told = f"{one.name.capitalize()}: {of.kernels:,} kernels of it are noted already."
            raise refuse("ear_shelled_before", told, "Scan the next ear; if it was wrong, take its lot back first.")


def _tell_done(
    bench: ShellBench, put: EarLot, kernels: int, weight_mg: float | None, cautions: tuple[str, ...], book: bool
) -> Shelled:
    lot = put.lot
    return Shelled(
        tag=lot.tag if lot else "",
        name=lot.name if lot else "",
        line=lot.line.name if lot else bench.ears[0].line,
        generation=lot.line.generation if lot else "",
        fathers=bench.ears[0].males,
        kernels=kernels,
        before=count_booked([lot]) - put.kernels if lot else 0,
        expected=bench.expected,
        thousand_g=weight_mg,
        is_new_lot=put.is_new_lot,
        is_new_line=put.is_new_line,
        cautions=cautions,
        findings=put.findings,
        booked=book,
        basis=bench.basis,
    )


def _remember_weight(
    on: Occasion,
    put: EarLot,
    weight_mg: float | None,
    net_g: float | None,
    samples_g: Sequence[float],
    sample_kernels: int | None,
    kernels: int,
) -> None:
    """The weight of a kernel stays with the lot; the weighing too where it was of the whole lot."""
    lot = put.lot
    if lot is None or weight_mg is None or net_g is None:
        return
    lot.kernel_weight_mg = weight_mg
    lot.save(update_fields=["kernel_weight_mg"])
    if put.is_new_lot:
        Weighing.objects.create(
            station=lot.station,
            lot=lot,
            weighed_on=on.today,
            net_g=net_g,
            sample_kernels=len(samples_g) * (sample_kernels or 0) or None,
            sample_g=sum(samples_g),
            kernels=kernels,
            recorded_at=on.now,
            recorded_by=on.who,
        )


def undo_shelling(on: Occasion, tag_or_name: str, why: str = "") -> int:
    """Take back what came into a lot at the shelling bench; returns kernels taken out.

    The notes of its kernels are taken back by new notes, and a movement against theirs empties the lot. The ear can be
    shelled again.

    Raises
    ------
    InputRefused
        If nothing of it was shelled at the bench, or kernels of it are gone or promised.
    """
    with transaction.atomic():
        station = get_station(on.station)
        Station.objects.select_for_update().get(pk=station.pk)
        lot = get_lot(station, tag_or_name)
        moved = Movement.objects.filter(lot=lot, reason="harvested", note__isnull=False)
        standing = _find_standing(on, lot, {str(one) for one in moved.values_list("note", flat=True)})
        kernels = sum(moved.filter(note__in=standing).values_list("kernels", flat=True))
        if not standing or kernels <= 0:
            told = f"Nothing of lot {lot.name} was shelled at the bench and still stands."
            raise refuse("nothing_to_undo", told, "Enter a count at the lot instead.")
        stock = read_lot_stock(lot)
        if stock.free < kernels:
            told = f"Of lot {lot.name} {stock.free:,} kernels are free, {kernels:,} came in."
            raise refuse("stock_promised", told, "Give up its promises first, or enter a count at the lot.")
        tags = {
            one.row.tag for one in LotOrigin.objects.filter(lot=lot, row__isnull=False).select_related("row") if one.row
        }
        row = sorted(tags)[0] if tags else ""
        reason = (why or "shelled wrongly")[:200]
        write_notes(on, [NoteDraft("withdrawn", row, reason, replaces=one) for one in sorted(standing)])
        add_movement(on, lot, -kernels, "harvested", f"taken back: {why or 'shelled wrongly'}")
    return kernels


def _find_standing(on: Occasion, lot: Lot, ids: set[str]) -> set[str]:
    """Of these notes, those that nobody took back."""
    rows = LotOrigin.objects.filter(lot=lot, row__isnull=False).values_list("row__tag", flat=True)
    return {note.id for note in keep_standing_notes(read_written(on, rows))[0] if note.id in ids}
