"""What is the history of this line: from whom, where grown, with which results, and what is left of it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line
from firstsilk.science.lineage.notation import find_shares, parse_pedigree
from firstsilk.work.flowering.line_history import NotedUnits, read_noted_units
from firstsilk.work.lineage.ancestry import Ancestor, Books, draw_tree, read_books, tell_method
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
    find_hybrids,
    list_estimates,
    list_trial_results,
    list_verdicts,
)
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.shelf import get_line, get_station

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

    `tree` is drawn from the records; `shares` are the founders' shares in the written pedigree, `pedigree_problem`
    says why it cannot be read. `inbreeding` [0 to 1] is None where it cannot be reckoned. `made_from_it` and
    `siblings` are at most 60 each; `sibling_estimates` are those of the lines from the same parents;
    `noted_units` what its own rows' notes tell of its flowering; `names` are its other names, `merged` the records
    found to be this line, whose rows, lots, trials, estimates and verdicts stand among its own, each with its `record`.
    """

    facts: LineFacts
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
    books = read_books(station, on.today)
    line = books[get_line(station, name).pk]
    merged = _find_merged(line, books)
    line.mother, line.father = books.get_parent(line.mother_id), books.get_parent(line.father_id)
    hybrids, siblings = find_hybrids(line, _list_standing(books)), _find_siblings(line, books)
    names = {number: one.name for number, one in books.items()}
    shares, problem = _read_shares(line.pedigree)
    inbreeding, kin, untold = find_kin_on_hand(on, station, line, books)
    lots, rows = list_lots(on, station, line, merged), list_rows(on, station, line, merged)
    trials = list_trial_results(on, station, line, hybrids, names, merged)
    verdicts = list_verdicts(on, station, line, merged)
    facts = _tell_facts(tell_lines(on, station, [line])[0], lots, verdicts)
    return LinePage(
        facts=facts,
        scale=station.scale,
        tree=draw_tree(line, books),
        shares=shares,
        pedigree_problem=problem,
        inbreeding=inbreeding,
        kin=kin,
        made_from_it=_list_relatives(
            [one for one in _list_standing(books) if line.pk in (one.mother_id, one.father_id)]
        ),
        siblings=_list_relatives(siblings),
        sibling_estimates=list_estimates(on, station, siblings[:MOST_RELATIVES]),
        lots=lots,
        rows=rows,
        trials=trials,
        estimates=list_estimates(on, station, [line, *hybrids], merged),
        verdicts=verdicts,
        timeline=tell_history(_tell_made(facts), rows, lots, trials, verdicts, tell_merges(on, station, line)),
        noted_units=read_noted_units(station, line, on.today, merged),
        names=list_names_of(on, line),
        merged=list_merged(on, station, merged),
        basis=_tell_basis(line, books, lots, rows, trials, verdicts, [*untold, problem]),
    )


def _find_merged(line: Line, books: Books) -> list[Line]:
    """The records that were merged into a line, also by way of others."""
    return [books[gone] for gone, kept in books.kept.items() if kept == line.pk and gone in books]


def _list_standing(books: Books) -> list[Line]:
    return [one for one in books.values() if one.pk not in books.kept]


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


def _find_siblings(line: Line, books: Books) -> list[Line]:
    if not line.mother_id:
        return []
    parents = (line.mother_id, line.father_id)
    return [one for one in _list_standing(books) if (one.mother_id, one.father_id) == parents and one.pk != line.pk]


def _list_relatives(lines: Sequence[Line]) -> tuple[Relative, ...]:
    kept = sorted(lines, key=lambda one: (one.kind != "line", one.name))[:MOST_RELATIVES]
    return tuple(Relative(one.name, one.kind, tell_method(one), one.generation) for one in kept)


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
