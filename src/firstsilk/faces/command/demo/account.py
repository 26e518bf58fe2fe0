"""What did the year come to, in figures, and how near are the estimates to the known truth?"""

from __future__ import annotations

from textwrap import fill
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from firstsilk.faces.command.demo.play import Year


def write_account(year: Year) -> str:
    """The year in a short text; every figure is from this run."""
    parts = [_tables(year), _nursery(year), _notes(year), _seed(year), _trials(year), _choices(year)]
    told = [fill(line, 108, subsequent_indent=" " * 13) for part in parts for line in part.splitlines()]
    return "\n".join(["", "What the year came to", "---------------------", *told])


def _tables(year: Year) -> str:
    assert year.brought is not None
    counts = ", ".join(f"{one.table} {one.new:,}" for one in year.brought.counts if one.new)
    return f"Brought      {counts}."


def _nursery(year: Year) -> str:
    assert year.plan is not None
    plan = year.plan
    males = sum(1 for row in plan.rows if row.purpose == "male")
    return (
        f"Planned      {sum(1 for one in plan.targets if one.state == 'planned')} targets in {len(plan.rows)} rows "
        f"({males} of males), {plan.kernels:,} kernels reserved, {len(plan.short)} targets short of seed; "
        f"{year.sown or 'all'} rows settled."
    )


def _notes(year: Year) -> str:
    assert year.chain is not None
    twice = year.notes.get("sent", 0) - year.notes.get("stored", 0) - year.notes.get("aside", 0)
    return (
        f"Noted        {year.notes.get('stored', 0):,} notes from the phones ({twice} came twice and count once, "
        f"{year.notes.get('aside', 0)} laid aside); the chain of {year.chain.n:,} notes "
        f"{'holds' if year.chain.ok else 'IS BROKEN'}. "
        f"Busiest day {year.peak[0]} with {year.peak[1]} pollinations."
    )


def _seed(year: Year) -> str:
    assert year.lots is not None
    met = sum(1 for one in year.progress if one.ears_picked >= one.ears_wanted)
    ears = sum(one.ears_picked for one in year.progress)
    tried = sum(one.ears_pollinated for one in year.progress)
    at_bench = {one.tag for one in year.bench if one.tag}
    lots = len(year.lots.lots) + len(at_bench)
    kernels = sum(lot.kernels for lot in year.lots.lots) + sum(one.kernels for one in year.bench if one.tag)
    lines = sum(lot.is_new_line for lot in year.lots.lots) + sum(one.is_new_line for one in year.bench)
    return (
        f"Harvested    {ears:,} ears from {tried:,} pollinations; {met} of {len(year.progress)} targets met; "
        f"{lots} lots of {kernels:,} kernels, {lines} of them new lines, {len(at_bench)} of them shelled at the bench; "
        f"{len(year.lots.findings)} rows whose father the notes cannot tell."
    )


def _trials(year: Year) -> str:
    assert year.analysis is not None
    return (
        f"Trials       {len(year.trials)} trials, {sum(year.trials.values())} plots this year; {year.analysis.model} "
        f"{year.analysis.basis.as_text()}"
    )


def _choices(year: Year) -> str:
    assert year.choice is not None
    assert year.next_plan is not None
    page, truth = year.choice, year.world.truth
    known = [one for one in page.candidates if one.line in truth.lines]
    pairs = [(one.yield_kg_ha_15_5, truth.lines[one.line].gca_yield_kg_ha) for one in known]
    estimated, true = np.array(pairs).T
    match = float(np.corrcoef(estimated, true)[0, 1])
    chosen = [truth.lines[one.line].gca_yield_kg_ha for one in page.candidates if one.verdict == "go_on"]
    gain = float(np.mean(chosen) - np.mean(true))
    return (
        f"Chosen       {page.count('go_on')} go on, {page.count('wait')} wait, {page.count('stop')} stop, of "
        f"{len(page.candidates)} lines. Against the truth: correlation of estimate and true value {match:.2f}; "
        f"those that go on are truly {gain:+,.0f} kg/ha from the mean of all.\n"
        f"Next plan    season {year.next_plan.season}: {year.next_plan.count('self')} selfs, "
        f"{year.next_plan.count('cross')} crosses, {year.next_plan.count('testcross')} testcrosses."
    )
