"""What is said of a season in the morning, and in which words?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from firstsilk.work.climate.ripe_told import RipeningGroups
from firstsilk.work.climate.season import SeasonHeat
from firstsilk.work.flowering.crew import CrewNeed
from firstsilk.work.flowering.crosses_ahead import CrossAhead
from firstsilk.work.flowering.forecast import Span
from firstsilk.work.flowering.season_demand import SeasonDemand
from firstsilk.work.flowering.wave import Wave

if TYPE_CHECKING:
    from firstsilk.work.flowering.morning import Moved

MOST_NAMED = 3
LAST_SEASON_DAYS = 275
"""A count that began so many days ago is one of the season before (a choice of ours)."""
LEAST_MOVE_DAYS = 0.1
"""A forecast that moved less than this stands still."""


@dataclass(frozen=True, slots=True)
class Told:
    """One sentence, and the part of the page that shows more of it."""

    part: str
    text: str


def tell_morning(
    stage: str,
    today: date,
    demand: SeasonDemand,
    heat: SeasonHeat,
    ripening: RipeningGroups,
    silk: Wave | None,
    shed: Wave | None,
    need: CrewNeed,
    crosses: Sequence[CrossAhead],
    moved: Moved | None,
) -> Iterator[Told]:
    """The morning in sentences: what moved, heat, flowering, hands, crosses, frost."""
    if moved is not None:
        for text in _tell_moved(moved, heat.units_name):
            yield Told("moved", text)
    yield Told("heat", _tell_heat(heat))
    for text in _tell_wave(stage, today, demand, silk, shed):
        yield Told("flowering", text)
    if stage not in ("no rows", "killed") and demand.forecast is not None:
        for text in need.sentences[:3]:
            yield Told("crew", text)
    text = _tell_crosses(crosses)
    if text:
        yield Told("crosses", text)
    text = _tell_frost(ripening)
    if text:
        yield Told("frost", text)


def _tell_moved(moved: Moved, units: str) -> Iterator[str]:
    since = f"Since {_say(moved.since)}"
    noted = [
        f"{count:,} {what}"
        for count, what in (
            (moved.silk, f"row{'s' if moved.silk != 1 else ''} came into silk"),
            (moved.shed, f"{'began' if moved.silk else 'rows began'} to shed"),
            (moved.pollinations, f"pollination{'s' if moved.pollinations != 1 else ''} made"),
        )
        if count
    ]
    said = f"{', '.join(noted)}" if noted else "nothing was noted of silk, shed or pollination"
    yield f"{since}: {said}."
    if moved.silk_days is not None:
        rows = f"{moved.n_rows:,} rows" if moved.n_rows > 1 else "1 row"
        if abs(moved.silk_days) < LEAST_MOVE_DAYS:
            text = "The forecast of silk stands where it was"
        else:
            way = "later" if moved.silk_days > 0 else "earlier"
            text = f"The forecast of silk moved {abs(moved.silk_days):.1f} days {way}"
        yield f"{text}, on the average of {rows} still to silk."
    if moved.units_a_day is not None:
        days = f"The {moved.days_read} days read" if moved.days_read > 1 else "The day read"
        usual = "" if moved.usual_a_day is None else f"; {moved.usual_a_day:.1f} is usual"
        each = " a day" if moved.days_read > 1 else ""
        yield f"{days} brought {moved.units_a_day:.1f} {units}{each}{usual}."


def _tell_heat(heat: SeasonHeat) -> str:
    course, against = heat.course, heat.against
    if heat.last_reading is None:
        return f"There is no weather of {heat.site_name} in the books: nothing can be expected of the season."
    if course.counted_to is None:
        return f"No heat is counted at {heat.site_name} yet: {heat.starts_why}."
    is_over = bool(course.ended_by) and course.counted_to.year < heat.today.year
    is_over = is_over or (heat.today - course.starts).days > LAST_SEASON_DAYS
    last = f"Last season, {course.starts.year}: " if is_over else ""
    text = f"{last}{course.total:,.0f} {heat.units_name} up to {_say(course.counted_to)}"
    if course.frost_on is not None and course.ended_by == "frost":
        text += f", when the frost of {_say(course.frost_on)} ended the count"
    if against.ahead_units is None:
        return f"{text}; no past year tells what is usual."
    side = "more" if against.ahead_units >= 0 else "less"
    days = ""
    if against.ahead_days is not None and not course.ended_by:
        count = abs(against.ahead_days)
        word = "ahead" if against.ahead_days >= 0 else "behind"
        days = ", on time" if count < 0.5 else f", about {count:.0f} day{'s' if round(count) != 1 else ''} {word}"
    years = f"{against.n_years} past years" if against.n_years > 1 else "the one past year"
    return f"{text}, {abs(against.ahead_units):,.0f} {side} than the middle of {years}{days}."


def _tell_wave(stage: str, today: date, demand: SeasonDemand, silk: Wave | None, shed: Wave | None) -> Iterator[str]:
    if stage == "no rows":
        yield f"Season {demand.season} has no rows yet."
        return
    if stage == "planned":
        yield "Nothing is sown yet: silk is told from the days planned."
    if demand.killed_on is not None:
        yield f"A frost killed the plants on {_say(demand.killed_on)}: flowering is over."
    if silk is None:
        yield f"There is no forecast of flowering. {demand.why_unknown}"
        return
    if silk.n_rows:
        yield _tell_silk(silk)
    if demand.killed_on is not None:
        return
    if silk.days and silk.week[2] >= 1:
        low, middle, high = silk.week
        spread = f" ({_count(low)} to {_count(high)})" if _count(low) != _count(high) else ""
        rows = f"{_count(middle)} row{' silks' if _count(middle) == '1' else 's silk'}"
        yield f"In the next seven days, today among them, {rows}{spread}."
    if silk.overdue >= 1:
        rows = "1 row is" if round(silk.overdue) == 1 else f"{silk.overdue:.0f} rows are"
        yield f"About {rows} likely in silk without a note: have a look."
    if shed is not None and shed.n_rows and stage != "over":
        half = f"; half of them by {_span(shed.half_on)}" if shed.half_on and shed.n_noted < shed.n_rows else ""
        yield f"{shed.n_noted} of {shed.n_rows} male rows shed or have shed{half}."


def _tell_silk(silk: Wave) -> str:
    if silk.n_noted == silk.n_rows:
        return f"All {silk.n_rows} rows that bear ears have silked."
    text = f"{silk.n_noted} of {silk.n_rows} rows that bear ears have silked"
    parts = []
    if silk.half_on is not None:
        parts.append(f"half of them by {_span(silk.half_on)}")
    if silk.most_on is not None:
        parts.append(f"nine in ten by {_span(silk.most_on)}")
    never = f"; {silk.n_never} may not silk in the days looked at" if silk.n_never else ""
    return f"{text}{': ' if parts else ''}{', '.join(parts)}{never}."


def _tell_crosses(crosses: Sequence[CrossAhead]) -> str:
    if not crosses:
        return ""
    risky = [one for one in crosses if one.at_risk]
    done = sum(1 for one in crosses if one.state == "enough")
    lost = sum(1 for one in crosses if one.state == "short")
    of = f"{len(crosses)} cross{'es' if len(crosses) > 1 else ''}"
    parts = [f"{done} {'have' if done != 1 else 'has'} enough"] if done else []
    parts += [f"{lost} {'fall' if lost != 1 else 'falls'} short"] if lost else []
    made = " and ".join(parts)
    if done + lost == len(crosses):
        return f"Of {of} {made}."
    if not risky and all(one.p_meet is None for one in crosses if not one.over):
        return f"{of}: who meets cannot be told yet."
    if not risky:
        return f"Of {of} none is at risk{'; ' if made else ''}{made}."
    named = ", ".join(f"{one.female} by {one.male}" for one in risky[:MOST_NAMED])
    more = f" and {len(risky) - MOST_NAMED} more" if len(risky) > MOST_NAMED else ""
    verb = "are" if len(risky) != 1 else "is"
    return f"Of {of} {len(risky)} {verb} at risk: {named}{more}{'; ' if made else ''}{made}."


def _tell_frost(ripening: RipeningGroups) -> str:
    known = [one for one in ripening.groups if one.chance is not None]
    if not known:
        return ""
    past = ripening.now.frost_on
    if past is not None:
        shares = ", ".join(f"{_pct(one.now or 0.0)} of the {one.group}" for one in known)
        return f"The killing frost came on {_say(past)}. Ripe before it: {shares} hybrids."
    shares = ", ".join(f"{one.group} {_pct(one.chance or 0.0 if one.now is None else one.now)}" for one in known)
    return f"Chance that hybrids ripen before the killing frost: {shares}."


def _count(rows: float) -> str:
    return f"{rows:,.0f}"


def _pct(frac: float) -> str:
    return f"{100 * frac:.0f} %"


def _span(span: Span) -> str:
    if span is None:
        return "no known day"
    low, middle, high = span
    if low == high:
        return _say(middle)
    first = f"{low.day}" if low.month == high.month else _say(low)
    return f"{_say(middle)} ({first} to {_say(high)})"


def _say(day: date) -> str:
    return f"{day.day} {day:%B}"
