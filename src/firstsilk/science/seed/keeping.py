"""Which lots to keep, test, regrow or discard?

The rule is stated, its numbers are given by whoever asks, and every answer says why. Nothing is discarded by itself.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from firstsilk.answers import refuse

COUNT, REGROW, DISCARD, TEST, KEEP = "count", "regrow", "discard", "test", "keep"
ADVICE = (COUNT, REGROW, DISCARD, TEST, KEEP)


@dataclass(frozen=True, slots=True)
class KeepingRule:
    """The numbers of the rule, all choices of ours to be set by the station.

    Parameters
    ----------
    keep_kernels
        Kernels that germinate wanted of every line, beyond what is promised [count].
    regrow_below_frac
        A lot that germinates worse is regrown while it still can be [0 to 1]. Seed banks regrow below 85 % of the first
        germination.
    dead_below_frac
        A lot that germinates worse is of no use [0 to 1].
    oldest_years
        A lot older than this is to go if its line has enough without it [years]. A cold store keeps maize ten years
        and more (common practice, no source).
    retest_years
        A test older than this no longer tells [years].
    untested_frac
        Share counted on of a lot that was never tested [0 to 1].
    """

    keep_kernels: int = 200
    regrow_below_frac: float = 0.85
    dead_below_frac: float = 0.5
    oldest_years: int = 10
    retest_years: int = 3
    untested_frac: float = 0.85


@dataclass(frozen=True, slots=True)
class KeptLot:
    """A lot as the rule looks at it: kernels, how many are promised, its share and the year of its test, if any."""

    name: str
    line: str
    year: int
    kernels: int
    promised: int
    germination_frac: float | None
    tested_year: int | None


@dataclass(frozen=True, slots=True)
class Advice:
    """What the rule says of one lot and why; `line_germinable` and `line_need` are kernels of its whole line."""

    lot: KeptLot
    advice: str
    why: tuple[str, ...]
    line_germinable: int
    line_need: int


def judge_keeping(
    lots: Iterable[KeptLot], year: int, rule: KeepingRule | None = None, needs: Mapping[str, int] | None = None
) -> tuple[Advice, ...]:
    """Say of every lot whether to count, regrow, discard, test or keep it.

    Parameters
    ----------
    lots
        All lots of the lines in question; empty ones are left out of the answer.
    year
        The year it is asked in.
    rule
        The numbers; `KeepingRule()` if absent.
    needs
        Kernels of a line that a plan wants beyond what is promised [count], by line.

    Returns
    -------
    tuple of Advice
        In the order of lines, oldest lot first. The same whatever the order of `lots`.

    Raises
    ------
    InputRefused
        If a number of the rule is none.

    Notes
    -----
    Need of a line = kernels promised + keep_kernels + needs. A lot gives floor(kernels x share) seedlings, of which the
    line's are the sum over lots that are not dead; a lot without a test counts with untested_frac. The first that
    fits: *count*, the books stand below zero; *discard*, the lot is dead or too old, nothing of it is promised and the
    line has its need without it; *regrow*, the lot is the youngest that lives of a line below its need, it is dead or
    too old and the line needs it, or it germinates worse than regrow_below_frac and no better lot has the need alone;
    *test*, no test or one too old; else *keep*. Of several lots to discard, those are told that can all go together:
    worst first.

    References
    ----------
    Genebank Standards for Plant Genetic Resources for Food and Agriculture, FAO 2014 (regeneration at 85 % of the
    first germination). The other numbers are choices of ours.

    Checked by
    ----------
    tests/science/test_keeping.py
    """
    rule = rule or KeepingRule()
    _check_rule(rule)
    by_line: dict[str, list[KeptLot]] = defaultdict(list)
    for lot in lots:
        if lot.kernels != 0 or lot.promised:
            by_line[lot.line].append(lot)
    told: list[Advice] = []
    for line in sorted(by_line):
        told += _judge_line(
            sorted(by_line[line], key=lambda one: (one.year, one.name)), year, rule, (needs or {}).get(line, 0)
        )
    return tuple(told)


def _judge_line(lots: list[KeptLot], year: int, rule: KeepingRule, wanted: int) -> list[Advice]:
    need = rule.keep_kernels + wanted + sum(lot.promised for lot in lots)
    held = sum(_seedlings(lot, rule) for lot in lots)
    going = _choose_discards(lots, year, rule, need, held)
    living = [lot for lot in lots if lot.name not in going and _seedlings(lot, rule) > 0]
    youngest = living[-1].name if living else lots[-1].name
    told = []
    for lot in lots:
        advice, why = _judge_lot(lot, lots, year, rule, need, held, lot.name in going, lot.name == youngest)
        told.append(Advice(lot, advice, tuple(why), held, need))
    return told


def _judge_lot(
    lot: KeptLot,
    lots: list[KeptLot],
    year: int,
    rule: KeepingRule,
    need: int,
    held: int,
    goes: bool,
    is_youngest: bool,
) -> tuple[str, list[str]]:
    if lot.kernels < 0:
        return COUNT, [f"the books stand at {lot.kernels:,} kernels"]
    faults = _find_faults(lot, year, rule)
    if goes:
        return DISCARD, [
            *faults,
            f"the line has {held - _seedlings(lot, rule):,} that germinate without it, needs {need:,}",
        ]
    if is_youngest and held < need:
        return REGROW, [f"the line has {held:,} kernels that germinate, needs {need:,}", *faults]
    if faults:
        promised = [f"{lot.promised:,} of its kernels are promised"] if lot.promised else []
        return REGROW, [*faults, *promised, "the line needs it until there is new seed"]
    share = lot.germination_frac
    if share is not None and share < rule.regrow_below_frac and not _has_better(lot, lots, rule, need):
        return REGROW, [f"germinates {share:.0%}, below {rule.regrow_below_frac:.0%}; no better lot has the need alone"]
    if share is None:
        return TEST, ["it was never tested"]
    if lot.tested_year is None or year - lot.tested_year > rule.retest_years:
        when = "on an unknown day" if lot.tested_year is None else f"in {lot.tested_year}"
        return TEST, [f"it was tested {when}, more than {rule.retest_years} years ago or not known"]
    return KEEP, [f"germinates {share:.0%}, {year - lot.year} years old"]


def _choose_discards(lots: list[KeptLot], year: int, rule: KeepingRule, need: int, held: int) -> set[str]:
    """Faulty lots, worst first, that can all go and leave the line its need."""
    left, going = held, set[str]()
    faulty = [lot for lot in lots if lot.kernels > 0 and not lot.promised and _find_faults(lot, year, rule)]
    for lot in sorted(faulty, key=lambda one: (_share(one, rule), one.year, one.name)):
        if left - _seedlings(lot, rule) >= need:
            left -= _seedlings(lot, rule)
            going.add(lot.name)
    return going


def _find_faults(lot: KeptLot, year: int, rule: KeepingRule) -> list[str]:
    told = []
    if lot.germination_frac is not None and lot.germination_frac < rule.dead_below_frac:
        told.append(f"germinates {lot.germination_frac:.0%}, below {rule.dead_below_frac:.0%}")
    if year - lot.year > rule.oldest_years:
        told.append(f"{year - lot.year} years old, more than {rule.oldest_years}")
    return told


def _has_better(lot: KeptLot, lots: list[KeptLot], rule: KeepingRule, need: int) -> bool:
    better = (one for one in lots if one is not lot and _share(one, rule) >= rule.regrow_below_frac)
    return sum(_seedlings(one, rule) for one in better) >= need


def _share(lot: KeptLot, rule: KeepingRule) -> float:
    return rule.untested_frac if lot.germination_frac is None else lot.germination_frac


def _seedlings(lot: KeptLot, rule: KeepingRule) -> int:
    """Kernels that germinate; none of a lot that is dead or overdrawn."""
    share = _share(lot, rule)
    return 0 if share < rule.dead_below_frac else math.floor(max(0, lot.kernels) * share + 1e-9)


def _check_rule(rule: KeepingRule) -> None:
    for name in ("regrow_below_frac", "dead_below_frac", "untested_frac"):
        if not 0 <= getattr(rule, name) <= 1:
            told = f"{name.removesuffix('_frac').replace('_', ' ')} {getattr(rule, name)} is not in 0..1."
            raise refuse("rule_wrong", told, "Write 0.85 for 85 %.")
    for name in ("keep_kernels", "oldest_years", "retest_years"):
        if not 0 <= getattr(rule, name) <= 10**8:
            told = f"{name.replace('_', ' ')} {getattr(rule, name)} cannot be."
            raise refuse("rule_wrong", told, "Write 0 or more.")
