"""How many pollinations, plants and kernels does a plan need, at the command line?"""

from __future__ import annotations

import math
import re
from dataclasses import asdict, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.answers import InputRefused, refuse
from firstsilk.faces.command.giving import AsJson, Out, give_result, say

if TYPE_CHECKING:
    from firstsilk.faces.files.ear_needs import EarNeed
    from firstsilk.faces.files.stand_needs import StandNeed
    from firstsilk.science.seed.line_rates import LineCounts, ProgrammeRates
    from firstsilk.science.seed.pollinations import EarRates

DECIMALS = 4
MOST_PLANTS_PER_ROW = 10_000
MOST_LISTED = 1000
"""Answers of one call (a choice of ours)."""
_SHARE = re.compile(r"\d{1,9}/\d{1,9}|\d{0,9}\.?\d{1,15}", re.ASCII)

WishFile = Annotated[
    str,
    typer.Argument(
        metavar="NEED",
        help="What is wanted: use, line[, ears][, kernels][, success][, kernels_per_ear]. - is stdin.",
    ),
]
RecordFile = Annotated[
    str,
    typer.Argument(
        metavar="[RECORDS]",
        help="What became of pollinations: line, pollinations, good_ears[, shelled_ears][, kernels].",
    ),
]
Assurance = Annotated[float, typer.Option("--assurance", help="Chance wanted of reaching it, between 0 and 1.")]
Spread = Annotated[
    float, typer.Option("--spread", help="Standard deviation of kernels per ear as a share of their mean.")
]
PlantsPerRow = Annotated[int, typer.Option("--plants-per-row", help="Plants that stand in a row.")]
Usable = Annotated[float, typer.Option("--usable", help="Share of a row's plants that flower on usable days, up to 1.")]


def pollinations_needed(
    need: WishFile,
    records: RecordFile = "",
    assurance: Assurance = 0.95,
    spread: Spread = 0.45,
    plants_per_row: PlantsPerRow = 18,
    usable: Usable = 0.5,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Pollinations and rows that give so many good ears and kernels with this assurance; on_average does half the time.

    Success and set of a line: as NEED says, they are known; else from RECORDS, shrunk to the mean of all its lines the
    more, the fewer they are and the less lines differ, and a line with little on record gets more pollinations for it.
    Without RECORDS the published means of 67.6 % and 146.5 kernels an ear. kernels is the set of shelled_ears, or of
    the good ears where there is no such column.
    """
    from firstsilk.faces.files.ear_needs import read_ear_needs, read_line_records
    from firstsilk.science.seed.line_rates import learn_programme

    _check_share("--assurance", assurance)
    _check_row(plants_per_row, usable)
    if not 0.01 <= spread <= 3:
        raise typer.BadParameter(f"--spread takes a share from 0.01 to 3; not {spread:g}.")
    needs = read_ear_needs(need)
    counted = read_line_records(records) if records else ()
    programme = learn_programme(counted, spread)
    by_line = {one.line: one for one in counted}
    rows = []
    for one in needs:
        rates = _choose_rates(one, by_line.get(one.line), programme if records else None, spread)
        rows.append(_count_need(one, rates, assurance, plants_per_row, usable))
    if not records and any(one.success_frac is None for one in needs):
        say("Nothing is on record: the published mean stands for every line, and lines ranged from 34 to 83 %.")
    columns = ("use", "line", "ears", "kernels", "success", "kernels_per_ear", "on_average", "pollinations", "rows")
    more = {"assurance": assurance, "programme": asdict(programme) if records else None}
    give_result((*columns, "chance"), rows, out, as_json, more)


def plants_needed(
    chance: Annotated[str, typer.Option("--chance", help="Chance that one plant has it, as 0.25 or 1/4; several by ,")],
    assurance: Annotated[str, typer.Option("--assurance", help="Chances wanted of success; several by ,")] = "0.95",
    at_least: Annotated[str, typer.Option("--at-least", help="Plants wanted that have it; several by ,")] = "1",
    germination: Annotated[float, typer.Option("--germination", help="Share of kernels that give a plant.")] = 1.0,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Plants to grow so that at least so many have the genotype looked for, with an assurance.

    The chance: 1/2 for an allele in a backcross, 1/4 for a homozygote of one gene in an F2, 1/16 for two, 3/4 for a
    dominant one. With --germination also the kernels to sow for it. Exact binomial tails (Sedcole 1977).
    """
    from firstsilk.science.lineage.chances import plan_plants

    _check_share("--germination", germination, up_to_one=True)
    chances = _read_shares("--chance", chance, up_to_one=True)
    assurances = _read_shares("--assurance", assurance)
    wanted = _read_counts("--at-least", at_least)
    if len(chances) * len(assurances) * len(wanted) > MOST_LISTED:
        raise typer.BadParameter(f"more than {MOST_LISTED} answers are asked for at once.")
    rows = [
        [p, one, least, plan_plants(p, one, least)]
        + ([plan_plants(p * germination, one, least)] if germination < 1 else [])
        for p in chances
        for one in assurances
        for least in wanted
    ]
    columns = ["chance", "assurance", "at_least", "plants"] + (["kernels"] if germination < 1 else [])
    give_result(columns, rows, out, as_json, {"germination": germination})


def kernels_needed(
    plan: Annotated[
        str,
        typer.Argument(
            metavar="PLAN",
            help="Plants wanted: use, line, plants[, packets][, germination][, emergence]. - is stdin.",
        ),
    ],
    germination: Annotated[float, typer.Option("--germination", help="Share where PLAN says none.")] = 0.9,
    emergence: Annotated[
        float, typer.Option("--emergence", help="Share of germinating kernels that stand in the field.")
    ] = 1.0,
    overplant: Annotated[float, typer.Option("--overplant", help="Sown beyond that and thinned, as a share.")] = 0.2,
    assurance: Annotated[
        float | None, typer.Option("--assurance", help="Instead of --overplant: the chance that every plant stands.")
    ] = None,
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Kernels to sow for the plants of a plan; kernels is how many of them germinate, as `firstsilk seed` asks for.

    sow = plants / (germination x emergence), and the margin for thinning. With --assurance the fewest kernels of which
    so many plants stand with that chance (binomial) in a row. packets rows or plots of each; 1 if the column is absent.
    """
    from firstsilk.faces.files.stand_needs import read_stand_needs

    _check_share("--germination", germination, up_to_one=True)
    _check_share("--emergence", emergence, up_to_one=True)
    if not 0 <= overplant <= 10:
        raise typer.BadParameter(f"--overplant takes a share from 0 to 10; not {overplant:g}.")
    if assurance is not None:
        _check_share("--assurance", assurance)
    rows = []
    for one in read_stand_needs(plan):
        share = germination if one.germination_frac is None else one.germination_frac
        stands = share * (emergence if one.emergence_frac is None else one.emergence_frac)
        each = _count_stand(one, stands, assurance, overplant)
        sown = each * one.packets
        rows.append([one.use, one.line, math.ceil(sown * Fraction(repr(share))), one.plants, one.packets, each, sown])
    columns = ("use", "line", "kernels", "plants", "packets", "sow_each", "sow")
    give_result(columns, rows, out, as_json, {"assurance": assurance, "overplant": overplant})


def _choose_rates(one: EarNeed, own: LineCounts | None, programme: ProgrammeRates | None, spread: float) -> EarRates:
    """A line's rates: as the wish says, else from the records, else as published."""
    from firstsilk.science.seed.line_rates import LineCounts, rate_line
    from firstsilk.science.seed.pollinations import EarRates

    rates = EarRates(kernels_cv=spread) if programme is None else rate_line(own or LineCounts(one.line), programme)
    if one.success_frac is not None:
        rates = replace(rates, success_frac=one.success_frac, pollinations_behind=math.inf)
    if one.kernels_per_ear is not None:
        rates = replace(rates, kernels_per_ear=one.kernels_per_ear, ears_behind=math.inf)
    return rates


def _count_need(one: EarNeed, rates: EarRates, assurance: float, plants_per_row: int, usable: float) -> list[object]:
    from firstsilk.science.nursery.counts import count_rows
    from firstsilk.science.seed.pollinations import expect_pollinations, find_reach_chance, plan_pollinations

    try:
        tries = plan_pollinations(rates, one.ears, one.kernels, assurance)
    except InputRefused as no:
        raise refuse("need_too_large", f"{one.use}, {one.line}: {no}") from None
    return [
        one.use,
        one.line,
        one.ears,
        one.kernels,
        round(rates.success_frac, DECIMALS),
        round(rates.kernels_per_ear, 1),
        round(expect_pollinations(rates, one.ears, one.kernels), 1),
        tries,
        count_rows(tries, plants_per_row, usable),
        round(find_reach_chance(tries, rates, one.ears, one.kernels), DECIMALS),
    ]


def _count_stand(one: StandNeed, stands: float, assurance: float | None, overplant: float) -> int:
    """Kernels to sow in one row or plot."""
    from firstsilk.science.lineage.chances import plan_plants
    from firstsilk.science.nursery.counts import count_kernels

    if assurance is None:
        return count_kernels(one.plants, stands, overplant)
    try:
        return plan_plants(stands, assurance, one.plants)
    except InputRefused as no:
        raise refuse("need_too_large", f"{one.use}, {one.line}: {no}") from None


def _check_share(option: str, value: float, up_to_one: bool = False) -> None:
    if not (0 < value < 1 or (up_to_one and value == 1)):
        ends = "above 0 and up to 1" if up_to_one else "between 0 and 1"
        raise typer.BadParameter(f"{option} takes a share {ends}; not {value:g}.")


def _check_row(plants_per_row: int, usable: float) -> None:
    if not 1 <= plants_per_row <= MOST_PLANTS_PER_ROW:
        raise typer.BadParameter(f"--plants-per-row takes 1 to {MOST_PLANTS_PER_ROW:,}; not {plants_per_row}.")
    _check_share("--usable", usable, up_to_one=True)


def _read_shares(option: str, text: str, up_to_one: bool = False) -> list[float]:
    """Shares joined by commas, each a decimal or a fraction such as 1/16."""
    shares = []
    for word in text.replace(" ", "").split(","):
        if not _SHARE.fullmatch(word) or word.endswith("/0"):
            raise typer.BadParameter(f"{option} takes shares such as 0.25 or 1/4, joined by commas; not {word[:20]!r}.")
        shares.append(float(Fraction(word)))
        _check_share(option, shares[-1], up_to_one)
    return shares


def _read_counts(option: str, text: str) -> list[int]:
    """Whole numbers from 1 on, joined by commas."""
    words = text.replace(" ", "").split(",")
    for word in words:
        if not re.fullmatch(r"\d{1,7}", word, re.ASCII) or int(word) < 1:
            raise typer.BadParameter(f"{option} takes whole numbers from 1 on, joined by commas; not {word[:20]!r}.")
    return [int(word) for word in words]
