"""On which days are the parents of all crosses of a plan sown, chosen together, and who meets with which chance?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import refuse
from firstsilk.science.nursery.meeting import Windows
from firstsilk.science.nursery.sowing import choose_sowing_days
from firstsilk.science.nursery.sowing_dates import CrossChance, choose_sowing_dates, judge_sowing_dates
from firstsilk.science.nursery.sowing_question import (
    OWN_SD_FRAC,
    STAND_IN_SD_FRAC,
    LineNeeds,
    PastHeat,
    PlannedCross,
    Role,
    SowingRules,
    list_roles,
    weigh_priority,
)
from firstsilk.work.nursery.past_days import PastDays
from firstsilk.work.nursery.rates import LineRates

DEFAULT_UNITS_TO_SILK_CHU = 1750.0
"""Units from sowing to half silk where nothing is known of a line: Ottawa inbreds 1,720-1,855 CHU to flowering."""
SHED_BEFORE_SILK_UNITS = 20.0
"""By how much shed comes before silk where nothing is known of it (a choice of ours)."""
MALE_EARS_PER_ROW = 40
"""Ears that one male row can serve over its days of shed (common practice, no source)."""
DRAWS = 8
"""Draws of the lines' uncertain units in each past year."""
PLAN_GAP = 1e-4
"""A plan's dates are called the best when they are this near their bound."""
FROSTED_WORTH_FRAC = 0.5
"""What an ear is worth whose seed is caught by a killing frost before it is ripe, against a ripe one: it germinates
worse, the later the better (a choice of ours)."""
SAFE_FRAC = 0.5
"""A female's sowing day is called safe if its seed ripens before the killing frost in at least so many years."""
RISK_MEET_FRAC, RISK_EARS_FRAC = 0.25, 0.8
"""A cross is at risk if it met in fewer of the years, or if fewer of its ears can be expected (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class FieldLimits:
    """What the field and the people allow: days after the first sowing day, most sowings of one line in each role, rows
    a day, last safe day for a female; the last two None where there is no such limit."""

    days: tuple[int, ...]
    male_sowings: int = 1
    female_sowings: int = 1
    rows_per_day: int | None = None
    last_safe_day: int | None = None


@dataclass(frozen=True, slots=True)
class CrossNeed:
    """One cross of the plan: its target, parents, priority, good ears wanted, pollinations to attempt, female rows."""

    target: int
    kind: str
    female: str
    male: str
    priority: int
    ears: int
    attempts: int
    rows: int


@dataclass(frozen=True, slots=True)
class CrossMeeting:
    """Who meets: one cross with its dates, its chances, and those under the simple rule.

    Attributes
    ----------
    silk_about, shed_about
        Day of half silk or shed of each sowing, the median of the years; None where most years do not bring it.
    p_meet
        Share of past years in which the parents meet, rows taken as one plant.
    ears_frac
        Expected share of the ears wanted, plant by plant in workable hours.
    ripe_frac
        Share of the years in which the female's seed ripens before the killing frost.
    rule_p_meet, rule_ears_frac
        The same if this cross had rows and days of its own by the simple rule; None where it was not asked for.
    at_risk
        Why this cross may fail, in words; empty if it is not at risk.
    """

    target: int
    kind: str
    female: str
    male: str
    priority: int
    ears: int
    female_sown: tuple[date, ...]
    male_sown: tuple[date, ...]
    silk_about: tuple[date | None, ...]
    shed_about: tuple[date | None, ...]
    p_meet: float
    ears_frac: float
    ripe_frac: float
    rule_p_meet: float | None
    rule_ears_frac: float | None
    at_risk: str


@dataclass(frozen=True, slots=True)
class JointSowing:
    """The days of all parents, who meets, and how sure it is that no days are better.

    Attributes
    ----------
    days
        Days after the first by role.
    meetings
        One for each cross, those at risk first.
    expected_ears, rule_ears, first_day_ears
        Good ears that can be expected of the ears wanted: with these days, with the simple rule that gives each cross
        rows of its own, and with everything sown on the first day.
    gap_frac
        Share of the best possible by which these days may fall short.
    last_safe
        Last day on which each female's seed still ripens before the killing frost in half of the years; None if there
        is none.
    members
        Years, own and generated, that stand behind the chances.
    """

    days: Mapping[Role, tuple[int, ...]]
    meetings: tuple[CrossMeeting, ...]
    ears_wanted: int
    expected_ears: float
    rule_ears: float
    first_day_ears: float
    gap_frac: float
    last_safe: Mapping[str, date | None]
    members: int

    @property
    def at_risk(self) -> tuple[CrossMeeting, ...]:
        """Crosses that may fail."""
        return tuple(one for one in self.meetings if one.at_risk)


def units_of(rates: LineRates) -> tuple[float, float]:
    """Units to silk and shed of a line, or the stated default where nothing is known."""
    silk = rates.units_to_silk or DEFAULT_UNITS_TO_SILK_CHU
    return silk, rates.units_to_shed or silk - SHED_BEFORE_SILK_UNITS


def choose_joint_sowing(
    needs: Sequence[CrossNeed], rates: Mapping[str, LineRates], past: PastDays, limits: FieldLimits, seed: int = 1
) -> JointSowing:
    """Choose the sowing days of all parents of a plan.

    Parameters
    ----------
    needs
        The crosses, at least one.
    rates
        What is known of each line.
    past
        Past years from the first sowing day on.
    limits
        What the field allows.
    seed
        Of the draws of uncertain units.

    Raises
    ------
    InputRefused
        If the rows do not fit on the days, or so many sowings and days at once are too many.

    Notes
    -----
    `science.nursery.sowing_dates` with the plants measure; an ear whose seed frost catches counts
    `FROSTED_WORTH_FRAC`. `docs/nick.md`.
    """
    crosses = [PlannedCross(one.female, one.male, weigh_priority(one.priority) * one.ears) for one in needs]
    ripe = {
        line: [past.count_ripe(day, units_of(rates[line])[0]) for day in limits.days]
        for line in sorted({one.female for one in needs})
    }
    lines = _describe_lines(needs, rates, ripe, limits)
    rules = SowingRules(limits.days, limits.male_sowings, limits.female_sowings, limits.rows_per_day)
    try:
        found = choose_sowing_dates(
            crosses, lines, past.heat, rules, Windows(), "plants", DRAWS, seed, relative_gap=PLAN_GAP
        )
    except ValueError as fault:
        told = f"The parents cannot be sown within these limits: {fault}."
        raise refuse("sowing_limits", told, "Allow more days or more rows a day, or fewer sowings of a line.") from None
    first = dict.fromkeys(list_roles(crosses), (limits.days[0],))
    at_once = judge_sowing_dates(crosses, lines, past.heat, first, Windows(), "plants", DRAWS, seed)
    by_rule = [_judge_rule(cross, lines, past.heat, limits, seed) for cross in crosses]
    meetings = [
        tell_meeting(one, found.days, chance, rule, past, units_of(rates[one.female])[0], units_of(rates[one.male])[1])
        for one, chance, rule in zip(needs, found.chances, by_rule, strict=True)
    ]
    return JointSowing(
        days=found.days,
        meetings=sort_meetings(meetings),
        ears_wanted=sum(one.ears for one in needs),
        expected_ears=_count_ears(needs, found.chances),
        rule_ears=_count_ears(needs, by_rule),
        first_day_ears=_count_ears(needs, at_once),
        gap_frac=found.gap_frac,
        last_safe={line: _find_last_safe(shares, limits, past) for line, shares in ripe.items()},
        members=len(past.heat.daily),
    )


def _count_ears(needs: Sequence[CrossNeed], chances: Sequence[CrossChance]) -> float:
    return sum(need.ears * (chance.ears_frac or 0.0) for need, chance in zip(needs, chances, strict=True))


def _describe_lines(
    needs: Sequence[CrossNeed],
    rates: Mapping[str, LineRates],
    ripe: Mapping[str, Sequence[float]],
    limits: FieldLimits,
) -> dict[str, LineNeeds]:
    """Each line's units with their uncertainty, and its rows in each role."""
    described = {}
    for line in sorted({name for one in needs for name in (one.female, one.male)}):
        silk, shed = units_of(rates[line])
        sd = silk * (OWN_SD_FRAC if rates[line].units_source == "own" else STAND_IN_SD_FRAC)
        females = sum(one.rows for one in needs if one.female == line)
        asked = sum(one.attempts for one in needs if one.male == line)
        males = -(-asked // MALE_EARS_PER_ROW)
        kept = tuple(FROSTED_WORTH_FRAC + (1.0 - FROSTED_WORTH_FRAC) * share for share in ripe.get(line, ()))
        described[line] = LineNeeds(
            silk,
            shed,
            sd,
            max(1, females),
            max(1, males),
            last_female_day=limits.last_safe_day,
            keep_female_frac=kept or None,
        )
    return described


def _find_last_safe(ripe: Sequence[float], limits: FieldLimits, past: PastDays) -> date | None:
    """The last day on which a female's seed still ripens in enough years; None if there is none."""
    safe = [day for day, share in zip(limits.days, ripe, strict=True) if share >= SAFE_FRAC]
    return past.date_of(max(safe)) if safe else None


def _judge_rule(
    cross: PlannedCross, lines: Mapping[str, LineNeeds], heat: PastHeat, limits: FieldLimits, seed: int
) -> CrossChance:
    """How the cross would meet on the days of the simple rule, if it had rows of its own."""
    rule = choose_sowing_days(
        heat.daily, lines[cross.female].units_to_silk, lines[cross.male].units_to_shed, limits.days[-1]
    )
    days: dict[Role, tuple[int, ...]] = {
        ("female", cross.female): (rule.female_day,),
        ("male", cross.male): (rule.male_day,),
    }
    return judge_sowing_dates([cross], lines, heat, days, Windows(), "plants", DRAWS, seed)[0]


def tell_meeting(
    need: CrossNeed,
    days: Mapping[Role, tuple[int, ...]],
    chance: CrossChance,
    rule: CrossChance | None,
    past: PastDays,
    female_units: float,
    male_units: float,
) -> CrossMeeting:
    """One cross with its dates, chances, and why it is at risk."""
    female, male = days["female", need.female], days["male", need.male]
    ears = chance.ears_frac or 0.0
    risks = []
    if chance.p_meet < RISK_MEET_FRAC:
        risks.append(
            f"only early and late plants meet: half-way days met in {chance.years_met} of {chance.years} years"
        )
    if ears < RISK_EARS_FRAC:
        risks.append(f"{ears:.0%} of its ears can be expected")
    return CrossMeeting(
        target=need.target,
        kind=need.kind,
        female=need.female,
        male=need.male,
        priority=need.priority,
        ears=need.ears,
        female_sown=tuple(past.date_of(day) for day in female),
        male_sown=tuple(past.date_of(day) for day in male),
        silk_about=tuple(past.expect_flowering(day, female_units) for day in female),
        shed_about=tuple(past.expect_flowering(day, male_units) for day in male),
        p_meet=chance.p_meet,
        ears_frac=ears,
        ripe_frac=sum(past.count_ripe(day, female_units) for day in female) / len(female),
        rule_p_meet=None if rule is None else rule.p_meet,
        rule_ears_frac=None if rule is None else rule.ears_frac,
        at_risk="; ".join(risks),
    )


def sort_meetings(meetings: Iterable[CrossMeeting]) -> tuple[CrossMeeting, ...]:
    """Those at risk first, the least sure before the others, then by target."""
    return tuple(sorted(meetings, key=lambda one: (not one.at_risk, one.ears_frac if one.at_risk else 0.0, one.target)))


def tell_joint(joint: JointSowing) -> tuple[str, ...]:
    """What the joint choice came to, in sentences."""
    years = f"{joint.members} years"
    alone = f"By the simple rule, with rows and days for each cross alone, {joint.rule_ears:.1f}"
    told = [
        f"{joint.expected_ears:.1f} of {joint.ears_wanted} good ears of crosses can be expected, over {years}.",
        f"{alone}; all sown on the first day, {joint.first_day_ears:.1f}.",
    ]
    best = "No other days give more" if joint.gap_frac <= PLAN_GAP else f"No other days give {joint.gap_frac:.1%} more"
    told.append(f"{best}, late days and further sowings counted a little against them.")
    if joint.at_risk:
        named = ", ".join(f"target {one.target} ({one.female} by {one.male})" for one in joint.at_risk[:3])
        more = f" and {len(joint.at_risk) - 3} more" if len(joint.at_risk) > 3 else ""
        told.append(f"At risk: {named}{more}.")
    unripe = sorted(line for line, day in joint.last_safe.items() if day is None)
    if unripe:
        more = f" and {len(unripe) - 3} more" if len(unripe) > 3 else ""
        told.append(
            f"Seed of {', '.join(unripe[:3])}{more} met a killing frost within 58 days of silk in most years, sown on"
            " whichever day."
        )
    return tuple(told)
