"""What went wrong with seed set this season, in words, and how sure is that?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from firstsilk.answers import InputRefused
from firstsilk.records.models import Season, Station
from firstsilk.science.seed.set_causes import Cause, Level, SetModel, fit_set_causes
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.set_records import SetBook, read_set_book
from firstsilk.work.shelf import get_season, get_station

NAMES = {
    "hour": "hour of the day",
    "deficit_kpa": "dry air at that hour",
    "silk_days": "age of the silk",
    "line": "line (mother)",
    "male": "male line",
    "worker": "worker",
    "day": "day",
}
UNITS = {"hour": "an hour later", "deficit_kpa": "1 kPa drier", "silk_days": "a day older"}
PLAIN_LEVELS = ("line", "male", "day")
"""What is shown by name. Workers are not: their work is shown to their leaders alone, one at a time."""
MOST_LEVELS = 5
NOT_CONSIDERED = (
    "rain and wet pollen within the day, how much pollen there was, the stand and health of the row, pests and what "
    "animals take, how ears were picked and shelled, bends in the effects, and causes that hang on one another"
)
WHY_ROOT = (
    "Fitted: the root of kernels per pollination attempted (where kernels were not counted, the angle of the share of "
    "good ears), weighted by the attempts. Rows that gave nothing count, which a logarithm cannot take; and ears "
    "spread more than a binomial model allows, so the spread is estimated."
)


@dataclass(frozen=True, slots=True)
class CauseLine:
    """One cause in words. `is_clear` if its interval leaves no cause out; `share` its part of all explained spread."""

    name: str
    title: str
    is_clear: bool
    says: str
    size: str
    spread: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class SetCauses:
    """Causes of the season's seed set, ranked; `why_not` says why there are none."""

    season: str
    model: SetModel | None
    causes: tuple[CauseLine, ...]
    worst: dict[str, tuple[Level, ...]]
    sentences: tuple[str, ...]
    why_not: str
    basis: Basis


def read_set_causes(on: Occasion, season: str = "") -> SetCauses:
    """What goes with good and poor set in a season's rows.

    Notes
    -----
    A ranking of what goes together with set, not a proof of what causes it: hours, days, workers and rows were not
    dealt at random.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    model, rows, why_not = fit_season(on, station, book)
    basis = _tell_basis(rows)
    if model is None:
        return SetCauses(book.name, None, (), {}, (why_not,), why_not, basis)
    causes = tuple(_say_cause(model, one) for one in model.causes)
    worst = {name: model.levels[name][:MOST_LEVELS] for name in PLAIN_LEVELS if name in model.levels}
    worst = {name: tuple(one for one in levels if one.value < 0) for name, levels in worst.items()}
    return SetCauses(book.name, model, causes, worst, tuple(_say(model, causes, rows)), "", basis)


def fit_season(on: Occasion, station: Station, season: Season) -> tuple[SetModel | None, SetBook, str]:
    """The model of a season, its rows, and why there is no model."""
    rows = read_set_book(on, station, season)
    try:
        return fit_set_causes(rows.records), rows, ""
    except InputRefused as refused:
        return None, rows, str(refused)


def _tell_basis(rows: SetBook) -> Basis:
    missing = []
    if rows.n_open:
        missing.append(f"what came of {rows.n_open} pollinated row{'s' if rows.n_open > 1 else ''} (not picked yet)")
    if rows.n_no_hour:
        missing.append(
            f"the hour of {rows.n_no_hour} row{'s' if rows.n_no_hour > 1 else ''} (noted at desk or on paper)"
        )
    if rows.records and not rows.n_measured_air:
        missing.append("hourly humidity (dry air is reckoned from the day's extremes)")
    uncounted = sum(one.kernels is None and one.good > 0 for one in rows.records)
    if uncounted:
        missing.append(f"kernels of {uncounted} row{'s' if uncounted > 1 else ''} with good ears")
    used = (
        ("rows with an outcome", len(rows.records)),
        ("pollinations", sum(one.attempts for one in rows.records)),
        ("notes", rows.n_notes),
    )
    return Basis(used, tuple(missing))


def say_amount(value: float, measure: str, signed: bool = False) -> str:
    """A number of kernels, or a share of good ears in percent points."""
    sign = "+" if signed else ""
    return f"{value:{sign},.0f} kernels" if measure == "kernels" else f"{100 * value:{sign}.0f} ears in 100"


def _say_cause(model: SetModel, one: Cause) -> CauseLine:
    middle, low, high = one.per_unit
    if one.is_number:
        ends = sorted((low, high))
        is_clear = ends[0] > 0 or ends[1] < 0
        size = f"{say_amount(middle, model.measure, True)} ({ends[0]:+,.0f} to {ends[1]:+,.0f})"
        if model.measure != "kernels":
            size = f"{say_amount(middle, model.measure, True)} ({100 * ends[0]:+.0f} to {100 * ends[1]:+.0f})"
        way = "gives less" if middle < 0 else "gives more"
        says = f"{UNITS[one.name].capitalize()} {way}: {size} a pollination"
        if not is_clear:
            says = f"Cannot be told from no effect: {size} a pollination for {UNITS[one.name]}"
    else:
        is_clear = one.low > 0.1 * model.residual_sd
        size = f"{say_amount(middle, model.measure)} ({low:,.0f} to {high:,.0f})"
        if model.measure != "kernels":
            size = f"{say_amount(middle, model.measure)} ({100 * low:.0f} to {100 * high:.0f})"
        says = f"A good and a poor one lie {size} a pollination apart (one standard deviation to each side)"
        if not is_clear:
            says = f"Hardly to be told from no difference: {size} a pollination between a good and a poor one"
        if one.spread == 0:
            size, says = "none", "No difference is seen; how large one could hide behind chance is not told"
    return CauseLine(one.name, NAMES[one.name], is_clear, says, size, one.spread, one.low, one.high)


def _say(model: SetModel, causes: tuple[CauseLine, ...], rows: SetBook) -> Iterator[str]:
    given = say_amount(model.middle, model.measure)
    yield f"A middling pollination gave {given}, of {model.attempts:,} pollinations on {model.n:,} rows."
    clear = [one for one in causes if one.is_clear]
    if clear:
        named = ", then ".join(one.title for one in clear[:3])
        yield f"What set goes with most: {named}."
    else:
        yield "No cause stands out from chance."
    for one, other, r in model.together:
        yield (
            f"{NAMES[one].capitalize()} and {NAMES[other]} went together here (correlation {r:.2f}): what belongs to "
            "which cannot be told apart well."
        )
    for name, why in model.without:
        yield f"Not asked: {NAMES[name]}, {why}."
    if rows.n_mixed:
        yield f"On {rows.n_mixed} rows several people or males had a third or more; each counts for the one with most."
