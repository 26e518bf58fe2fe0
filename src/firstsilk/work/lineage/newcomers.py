"""A new line or hybrid is written into the books: is it one that can be?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from django.db import transaction

from firstsilk.answers import Finding, InputRefused, Place, stop_if_any
from firstsilk.records.models import Line, LineName, Station
from firstsilk.science.climate.heat import SCALES
from firstsilk.science.flowering.usual_units import Stage, doubt_units
from firstsilk.science.lineage.derivation import Derivation, read_derivation, tell_stands_for
from firstsilk.science.lineage.line_rules import LineFacts, check_derivation
from firstsilk.science.lineage.members import METHODS, Member, check_members
from firstsilk.science.lineage.notation import Cross, find_shares, parse_pedigree, write_pedigree
from firstsilk.work.lineage.ancestry import Books, as_member, collect_ancestors, read_books, tell_method
from firstsilk.work.lineage.lines import tell_derivation
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_station

KINDS = ("line", "hybrid")
STANDS_FOR = ("plant", "family", "bulk")
LONGEST = {"name": 120, "generation": 12, "pedigree": 400, "group": 40, "remark": 400}
LONGEST |= {"derived_plant": 24, "derived_generation": 12}
WITHIN = ("self", "sib", "dh")
WARN_ONLY = ("founder_is_no_family",)
"""Stored all the same; kinship alone cannot go through it. As for tables that are brought."""


@dataclass(frozen=True, slots=True)
class NewLine:
    """A line to be added, as a person wrote it; parents by name, empty where not known."""

    name: str
    kind: str = "line"
    stands_for: str = ""
    method: str = "founder"
    mother: str = ""
    father: str = ""
    selfings: int = 1
    generation: str = ""
    derived_from: str = ""
    derived_plant: str = ""
    derived_generation: str = ""
    pedigree: str = ""
    group: str = ""
    is_tester: bool = False
    is_check: bool = False
    units_to_silk: float | None = None
    units_to_shed: float | None = None
    units_to_black_layer: float | None = None
    remark: str = ""


@dataclass(frozen=True, slots=True)
class LineAdded:
    """The line now in the books: its name, how it was made, its pedigree, and findings that only warn."""

    name: str
    how: str
    pedigree: str
    findings: tuple[Finding, ...]
    basis: Basis


def add_line(on: Occasion, new: NewLine) -> LineAdded:
    """Add one line or hybrid to the books.

    Parameters
    ----------
    on
        The occasion.
    new
        What to add. Without a pedigree one is written from the parents where that can be done. From which plant it
        comes is read from its name where that goes on from the mother's (``EK12-3`` from EK12) and nothing is told.

    Raises
    ------
    InputRefused
        Naming every fault: the name empty or taken (capitals do not make it another), a choice not made, an unknown
        parent, parents that do not fit the method, a pedigree that cannot be read.

    Notes
    -----
    Checked by tests/work/test_lineage_work.py.
    """
    with transaction.atomic():
        station = Station.objects.select_for_update().get(pk=get_station(on.station).pk)
        books = read_books(station)
        by_name = {line.name: line for line in books.values()}
        others = dict(LineName.objects.filter(station=station).values_list("name", "line__name"))
        new = replace(
            new,
            **{one: others.get(getattr(new, one), getattr(new, one)) for one in ("mother", "father", "derived_from")},
        )
        new, read = _read_name(new, by_name)
        findings = [*read, *_check_words(new, by_name, others), *_check_scale(new, station)]
        findings += [*_check_merged(new, by_name, books), *_check_parents(new, by_name, books)]
        findings += _check_derived(new, by_name)
        pedigree, more = _settle_pedigree(new, by_name)
        findings += more
        stop_if_any(findings)
        line = _store(station, new, by_name, pedigree)
    return LineAdded(
        line.name, tell_method(line), pedigree, tuple(findings), Basis((("lines in the books", len(books)),))
    )


def _fault(code: str, column: str, value: str, message: str, repair: str, stops: bool = True) -> Finding:
    return Finding(code, message, Place("", None, column), value, repair, stops)


def _read_name(new: NewLine, by_name: dict[str, Line]) -> tuple[NewLine, list[Finding]]:
    """The line with the plant that it comes from, where only its name says it; and a finding that says so."""
    mother = by_name.get(new.mother)
    if mother is None or new.derived_from or new.derived_plant or new.derived_generation:
        return new, []
    says = read_derivation(new.name.strip(), mother.name, mother.generation, tell_derivation(mother))
    if says is None or says.derivation is None or new.stands_for != says.stands_for:
        return new, []
    one = says.derivation
    told = f"by its name it is {tell_stands_for(new.stands_for, one)}, and is written so"
    read = replace(
        new, derived_from=one.line, derived_plant=one.plant, derived_generation=one.generation or mother.generation
    )
    return read, [_fault("derived_by_name", "name", new.name, told, "Say otherwise where that is not so", stops=False)]


def _check_derived(new: NewLine, by_name: dict[str, Line]) -> Iterator[Finding]:
    """Whether the plant that it comes from can be one, by the rules of the audit."""
    if new.derived_from and new.derived_from not in by_name and new.derived_from != new.name.strip():
        message = "this line is not in the books"
        yield _fault(
            "derived_from_unknown", "derived_from", new.derived_from, message, "Add it first, or leave it empty"
        )
        return
    if not (new.derived_from or new.derived_plant or new.derived_generation):
        return
    names = {line.pk: name for name, line in by_name.items()}
    facts = {
        name: LineFacts(name, line.kind, line.method, names.get(line.mother_id or 0, ""), generation=line.generation)
        for name, line in by_name.items()
    }
    own = Derivation(new.derived_from, new.derived_plant.strip(), new.derived_generation.strip())
    line = LineFacts(new.name.strip(), new.kind, new.method, new.mother, generation=new.generation.strip(), derived=own)
    for one in check_derivation(line, facts):
        stops = one.code == "derived_from_itself"
        yield _fault(one.code, one.place.column or "", one.value, one.message, one.repair, stops)


def _check_merged(new: NewLine, by_name: dict[str, Line], books: Books) -> Iterator[Finding]:
    """Whether a parent's record was merged into another's, which should be named then."""
    for column, name in (("mother", new.mother), ("father", new.father)):
        if name in by_name and (kept := books.get_standing(by_name[name])).name != name:
            message = f"this was found to be one line with {kept.name}"
            yield _fault("line_merged_away", column, name, message, f"Name {kept.name}")


def _check_words(new: NewLine, by_name: dict[str, Line], others: dict[str, str]) -> Iterator[Finding]:
    if not new.name.strip():
        yield _fault("line_nameless", "name", "", "the line has no name", "Name it")
    taken = next((name for name in by_name if name.casefold() == new.name.strip().casefold()), "")
    if taken:
        yield _fault("name_taken", "name", new.name, f"{taken!r} is in the books already", "Choose another name")
    other = next((name for name in others if name.casefold() == new.name.strip().casefold()), "")
    if other:
        message = f"{other!r} is another name of {others[other]}"
        yield _fault("name_taken", "name", new.name, message, "Choose another name")
    if new.stands_for not in STANDS_FOR:
        message = "say whether the record stands for one plant, a family or a bulk"
        yield _fault("stands_for_missing", "stands_for", new.stands_for, message, f"Choose {', '.join(STANDS_FOR)}")
    if new.kind not in KINDS:
        yield _fault("kind_unknown", "kind", new.kind, "it is a line or a hybrid", f"Choose {', '.join(KINDS)}")
    if new.kind == "hybrid" and new.method not in ("cross", "founder"):
        yield _fault("hybrid_not_crossed", "method", new.method, "a hybrid is made by a cross", "Choose cross")
    for column, longest in LONGEST.items():
        text = str(getattr(new, column))
        if len(text) > longest:
            message = f"this is longer than {longest} signs"
            yield _fault("too_long", column, f"{text[:20]}...", message, "Shorten it")
    for column in ("units_to_silk", "units_to_shed", "units_to_black_layer"):
        units = getattr(new, column)
        if units is not None and not 0 < units < 100_000:
            yield _fault("units_odd", column, f"{units:g}", "heat units are above 0", "Leave it empty if not known")
    silk, black = new.units_to_silk, new.units_to_black_layer
    if silk and black and silk >= black:
        message = "silk is not before black layer"
        yield _fault("black_layer_before_silk", "units_to_black_layer", f"{black:g}", message, "Check both")


def _check_scale(new: NewLine, station: Station) -> Iterator[Finding]:
    """Heat units that look like those of another scale than the station's are told, and kept."""
    scale = next(name for name in SCALES if name == station.scale)
    stages: dict[str, Stage] = {"units_to_silk": "silk", "units_to_shed": "shed", "units_to_black_layer": "black layer"}
    for column, stage in stages.items():
        units = getattr(new, column)
        odd, message = doubt_units([units], stage, scale)
        if odd and units > 0:
            repair = f"Are these units in {scale}, the scale of the station? They are kept as they stand"
            yield _fault("units_unusual", column, f"{units:g}", message, repair, stops=False)


def _check_parents(new: NewLine, by_name: dict[str, Line], books: Books) -> Iterator[Finding]:
    """Whether the parents are there and fit the method, by the same rules as kinship itself."""
    if new.method not in METHODS:
        repair = f"Choose {', '.join(METHODS)}"
        yield _fault("method_unknown", "method", new.method, "this method is not known", repair)
        return
    parents = [by_name[name] for name in (new.mother, new.father) if name in by_name]
    behind = [as_member(line, books) for line in collect_ancestors(parents, books)]
    selfings = new.selfings if new.method == "self" else 1
    own = Member(new.name.strip() or "?", new.method, new.mother, new.father, selfings)
    if own.line in by_name:
        return
    try:
        check_members([*behind, own])
    except InputRefused as error:
        for one in error.findings:
            repair = one.repair.replace("Add a row for it (method founder if nothing is known)", "Add that line first")
            message = one.message.replace("this parent has no row of its own", "this parent is not in the books")
            stops = one.code not in WARN_ONLY
            yield Finding(one.code, message, Place("", None, one.place.column), one.value, repair, stops)
    if new.method == "cross" and not (new.mother and new.father):
        column = "father" if new.mother else "mother"
        message = "a parent of this cross is not named and stays unknown"
        yield _fault("parent_missing", column, "", message, "Name it if it is known", stops=False)


def _settle_pedigree(new: NewLine, by_name: dict[str, Line]) -> tuple[str, list[Finding]]:
    """The written pedigree in its normal form, or one made from the parents; and what is odd about it."""
    if not new.pedigree.strip():
        written = _write_from_parents(new, by_name)
        # Too long a pedigree is better not written than cut in the middle; the parents stand in the books.
        return written if len(written) <= LONGEST["pedigree"] else "", []
    try:
        tree = parse_pedigree(new.pedigree)
    except InputRefused as error:
        refusal = error.refusal
        told = refusal.message if refusal else str(error)
        return "", [_fault("pedigree_unreadable", "pedigree", new.pedigree, told, refusal.yes_if if refusal else "")]
    strangers = [name for name in find_shares(tree) if name not in by_name and name != new.name.strip()]
    findings = []
    if strangers:
        message = f"not in the books: {', '.join(strangers[:5])}"
        findings.append(
            _fault("pedigree_strangers", "pedigree", new.pedigree, message, "Check the spelling", stops=False)
        )
    return write_pedigree(tree), findings


def _write_from_parents(new: NewLine, by_name: dict[str, Line]) -> str:
    mother, father = by_name.get(new.mother), by_name.get(new.father)
    try:
        if new.method in WITHIN and mother is not None:
            return write_pedigree(parse_pedigree(mother.pedigree or mother.name))
        if new.method in ("cross", "bulk") and mother is not None and father is not None:
            return write_pedigree(Cross(parse_pedigree(mother.name), parse_pedigree(father.name)))
    except InputRefused:
        return ""
    return ""


def _store(station: Station, new: NewLine, by_name: dict[str, Line], pedigree: str) -> Line:
    return Line.objects.create(
        station=station,
        name=new.name.strip(),
        kind=new.kind,
        stands_for=new.stands_for,
        method=new.method,
        mother=by_name.get(new.mother),
        father=by_name.get(new.father),
        selfings=max(1, new.selfings) if new.method == "self" else 0,
        generation=new.generation.strip(),
        derived_from=by_name.get(new.derived_from),
        derived_plant=new.derived_plant.strip(),
        derived_generation=new.derived_generation.strip(),
        pedigree=pedigree,
        group=new.group.strip(),
        is_tester=new.is_tester,
        is_check=new.is_check,
        units_to_silk=new.units_to_silk,
        units_to_shed=new.units_to_shed,
        units_to_black_layer=new.units_to_black_layer,
        remark=new.remark.strip(),
    )
