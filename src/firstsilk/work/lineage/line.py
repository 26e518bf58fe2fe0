"""What is the history of this line: from whom, where grown, with which results, and what is left of it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db.models import Q

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Station
from firstsilk.science.lineage.notation import find_shares, parse_pedigree
from firstsilk.work.collecting import pause_collecting
from firstsilk.work.flowering.line_history import NotedUnits, read_noted_units
from firstsilk.work.lineage.ancestry import Ancestor, Books, draw_tree, read_family, tell_method
from firstsilk.work.lineage.descent import tell_descent, tell_wishes
from firstsilk.work.lineage.grown import LotFacts, SeasonRow, count_notes_missing, list_lots, list_rows
from firstsilk.work.lineage.kin import Kin, find_kin_on_hand, tell_founders
from firstsilk.work.lineage.lines import LineFacts, tell_lines
from firstsilk.work.lineage.merges import MergeFacts, list_merged, tell_merges
from firstsilk.work.lineage.names import OtherName, list_names_of
from firstsilk.work.lineage.timeline import Event, tell_history
from firstsilk.work.lineage.tried import (
    EstimateOf,
    TrialResult,
    VerdictFacts,
    list_estimates,
    list_trial_results,
    list_verdicts,
)
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_line, get_station
from firstsilk.work.standing import read_kept

MOST_RELATIVES = 60


@dataclass(frozen=True, slots=True)
class Relative:
    """A line made from this one, or from the same parents."""

    name: str
    kind: str
    how: str
    generation: str


@dataclass(frozen=True, slots=True)
class LinePage:
    """Everything the books say about one line, as of today.

    `made` says how it was made, in a sentence; `timeline` begins with the first cross that it comes from. `tree` is
    drawn from the records; `shares` are the founders' shares in the written pedigree, `pedigree_problem` says why it
    cannot be read. `inbreeding` [0 to 1] is None where it cannot be reckoned. `made_from_it` and `siblings` are at most
    60 each. `estimates` are the newest of each trait, `earlier_estimates` those of analyses before, of the line and its
    hybrids; `sibling_estimates` those of lines from the same parents. `noted_units` is what its own rows' notes tell of
    its flowering; `names` are its other names, `merged` the records found to be this line, whose rows, lots, trials,
    estimates and verdicts stand among its own, each with its `record`.
    """

    facts: LineFacts
    made: str
    scale: str
    tree: Ancestor
    shares: tuple[tuple[str, float], ...]
    pedigree_problem: str
    inbreeding: float | None
    kin: tuple[Kin, ...]
    made_from_it: tuple[Relative, ...]
    siblings: tuple[Relative, ...]
    sibling_estimates: tuple[EstimateOf, ...]
    lots: tuple[LotFacts, ...]
    rows: tuple[SeasonRow, ...]
    trials: tuple[TrialResult, ...]
    estimates: tuple[EstimateOf, ...]
    earlier_estimates: tuple[EstimateOf, ...]
    verdicts: tuple[VerdictFacts, ...]
    timeline: tuple[Event, ...]
    noted_units: NotedUnits | None
    names: tuple[OtherName, ...]
    merged: tuple[MergeFacts, ...]
    basis: Basis

    @property
    def n_plots(self) -> int:
        """Trial plots of the line and its hybrids."""
        return sum(one.n_plots for one in self.trials)

    @property
    def n_trials(self) -> int:
        """Trials in which the line or a hybrid from it grew."""
        return len({one.trial for one in self.trials})


@pause_collecting()
def read_line(on: Occasion, name: str) -> LinePage:
    """The whole history of a line or hybrid on one page.

    Raises
    ------
    InputRefused
        If there is no such line.

    Notes
    -----
    Checked by tests/work/test_lineage_work.py.
    """
    station = get_station(on.station)
    line, books, merged = _read_line_and_family(on, station, name)
    line.mother, line.father = books.get_parent(line.mother_id), books.get_parent(line.father_id)
    made_from_it, siblings = _read_made_from(line, books), _read_siblings(line, books)
    hybrids = [one for one in made_from_it if one.kind == "hybrid"]
    shares, problem = _read_shares(line.pedigree)
    inbreeding, kin, untold = find_kin_on_hand(on, station, line, books)
    lots, (rows, states) = list_lots(on, station, line, merged), list_rows(on, station, line, merged)
    trials = list_trial_results(on, station, line, hybrids, _read_partners(hybrids), merged)
    verdicts = list_verdicts(on, station, line, merged)
    estimates, earlier = list_estimates(on, station, [line, *hybrids], merged)
    facts = _tell_facts(tell_lines(on, station, [line])[0], lots, verdicts)
    made = _tell_made(facts)
    events = (rows, lots, trials, verdicts, tell_merges(on, station, line))
    return LinePage(
        facts=facts,
        made=made,
        scale=station.scale,
        tree=draw_tree(line, books),
        shares=shares,
        pedigree_problem=problem,
        inbreeding=inbreeding,
        kin=kin,
        made_from_it=_tell_relatives(made_from_it),
        siblings=_tell_relatives(siblings),
        sibling_estimates=list_estimates(on, station, siblings)[0],
        lots=lots,
        rows=rows,
        trials=trials,
        estimates=estimates,
        earlier_estimates=earlier,
        verdicts=verdicts,
        timeline=tell_history(
            made, *events, tell_descent(station, line, books, on.today), tell_wishes(line, merged, on.today)
        ),
        noted_units=read_noted_units(station, line, on.today, merged, states),
        names=list_names_of(on, line),
        merged=list_merged(on, station, merged),
        basis=_tell_basis(line, books, lots, rows, trials, verdicts, [*untold, problem]),
    )


def _read_line_and_family(on: Occasion, station: Station, name: str) -> tuple[Line, Books, list[Line]]:
    """The line, the books as far as its ancestors, and the records that were merged into it."""
    number = get_line(station, name).pk
    kept = read_kept(station, on.today)
    gone = [pk for pk, stands in kept.items() if stands == number]
    books = read_family(station, [number, *gone], kept)
    return books[number], books, [books[pk] for pk in gone]


def _read_made_from(line: Line, books: Books) -> list[Line]:
    """All lines and hybrids made from a line or from a record merged into it, lines first, by name."""
    same = books.find_records([line.pk])
    # What is made from a line is of its station: naming that would have the database go through all lines.
    made = Line.objects.filter(Q(mother__in=same) | Q(father__in=same)).order_by("-kind", "name")
    standing = [one for one in made if one.pk not in books.kept]
    books.see_through(standing)
    return standing


def _read_siblings(line: Line, books: Books) -> list[Line]:
    """Some lines from the same parents, so many as are shown."""
    if not line.mother_id:
        return []
    father = Q(father__in=books.find_records([line.father_id])) if line.father_id else Q(father=None)
    same = Line.objects.filter(father, mother__in=books.find_records([line.mother_id]))
    return list(same.exclude(pk__in=[line.pk, *books.kept]).order_by("-kind", "name")[:MOST_RELATIVES])


def _read_partners(hybrids: Sequence[Line]) -> dict[int, str]:
    """The names of the parents of hybrids, by the books' number."""
    numbers = {pk for one in hybrids for pk in (one.mother_id, one.father_id) if pk is not None}
    return dict(Line.objects.filter(pk__in=numbers).values_list("pk", "name")) if numbers else {}


def _tell_facts(facts: LineFacts, lots: Sequence[LotFacts], verdicts: Sequence[VerdictFacts]) -> LineFacts:
    """The facts with the seed and the latest verdict of all records that the page tells of."""
    free = sum(max(0, one.free) for one in lots)
    return replace(facts, n_lots=len(lots), free_kernels=free, verdict=verdicts[-1].verdict if verdicts else "")


def _read_shares(pedigree: str) -> tuple[tuple[tuple[str, float], ...], str]:
    """Founders' shares in the written pedigree, the largest first; or why it cannot be read."""
    if not pedigree:
        return (), ""
    try:
        shares = find_shares(parse_pedigree(pedigree))
    except InputRefused as error:
        return (), str(error)
    return tuple(sorted(((name, float(share)) for name, share in shares.items()), key=lambda one: -one[1])), ""


def _tell_relatives(lines: Sequence[Line]) -> tuple[Relative, ...]:
    return tuple(Relative(one.name, one.kind, tell_method(one), one.generation) for one in lines[:MOST_RELATIVES])


def _tell_made(facts: LineFacts) -> str:
    parents = " × ".join(name for name in (facts.mother, facts.father) if name)
    how = facts.how[0].upper() + facts.how[1:]
    if not parents:
        return f"{how}."
    return f"{how} of {parents}." if facts.method in ("cross", "bulk") else f"{how}, from {parents}."


def _tell_basis(
    line: Line,
    books: Books,
    lots: Sequence[LotFacts],
    rows: Sequence[SeasonRow],
    trials: Sequence[TrialResult],
    verdicts: Sequence[VerdictFacts],
    untold: Sequence[str],
) -> Basis:
    used = (
        ("lots", len(lots)),
        ("nursery rows", len(rows)),
        ("trial plots", sum(one.n_plots for one in trials)),
        ("verdicts", len(verdicts)),
    )
    missing = [*count_notes_missing(rows), *tell_founders([line], books)]
    if line.units_to_silk is None:
        missing.append("heat units to silk are not known")
    without = sum(one.n_plots - one.n_used for one in trials)
    if without:
        missing.append(f"{without} plot{' has' if without == 1 else 's have'} no yield that counts")
    return Basis(used, (*missing, *(one.rstrip(".") for one in untold if one)))
