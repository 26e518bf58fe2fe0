"""Was a bar reached, how far is it to the stretch, and is our criterion no worse than the best peer's?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from .cases import Bar
from .running import Outcome


@dataclass(frozen=True, slots=True)
class Verdict:
    """One bar: the measure, what was reached, and whether gate, target and stretch were."""

    bar: Bar
    value: float
    gate: bool
    target: bool
    stretch: bool | None

    def as_text(self) -> str:
        """What was reached, and how far it is to the stretch."""
        more, unit = self.bar.measure == "times", _unit(self.bar.measure)
        sign = ">=" if more else "<="
        reached = "reached" if self.target else "MISSED"
        text = f"{_say(self.value)}{unit} (target {sign} {self.bar.target:g}{unit} {reached}"
        if self.bar.stretch is not None:
            short = self.bar.stretch / self.value if more else self.value / self.bar.stretch
            left = "reached" if self.stretch else f"{_say(short)} times short of it"
            text += f"; stretch {self.bar.stretch:g}{unit} {left}"
        return text + ")"


def _say(value: float) -> str:
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def _unit(measure: str) -> str:
    return {"times": "x", "memory": "x", "beside": "x", "seconds": " s", "evaluations": ""}[measure]


def judge(outcome: Outcome, outcomes: Mapping[str, Outcome]) -> list[Verdict]:
    """Judge each bar that can be judged from what was run."""
    verdicts = []
    for bar in outcome.case.bars:
        value = find_value(bar, outcome, outcomes)
        if value is not None:
            more = bar.measure == "times"
            levels = [value >= level if more else value <= level for level in (bar.gate, bar.target)]
            stretch = None if bar.stretch is None else (value >= bar.stretch if more else value <= bar.stretch)
            verdicts.append(Verdict(bar, value, *levels, stretch))
    return verdicts


def ratio_by_processor(outcome: Outcome) -> float | None:
    """The timed peer's seconds of the processor over ours: moves less where the machine is busy."""
    return _ratio(outcome.of_peer("cpu_seconds"), outcome.of_ours("cpu_seconds"))


def find_value(bar: Bar, outcome: Outcome, outcomes: Mapping[str, Outcome]) -> float | None:
    """The number that a bar speaks of; None where it was not measured."""
    if bar.measure == "beside":
        other = outcomes.get(bar.other)
        return _ratio(outcome.of_ours("seconds"), other.of_ours("seconds") if other else None)
    if bar.measure == "times":
        return _ratio(outcome.of_peer("seconds"), outcome.of_ours("seconds"))
    if bar.measure == "memory":
        return _ratio(outcome.of_ours("peak_mb"), outcome.of_peer("peak_mb"))
    return outcome.of_ours(bar.measure)


def _ratio(one: float | None, two: float | None) -> float | None:
    return one / two if one is not None and two else None


def criterion_slack(criterion: float) -> float:
    """By how much two programs' -2 log-likelihoods may differ through rounding and stopping."""
    return max(1e-6, 1e-11 * abs(criterion))


def compare_criterion(outcome: Outcome) -> tuple[float, bool] | None:
    """Our worst criterion less the best peer's, and whether it is no worse; None where it cannot be compared."""
    best = outcome.best_criterion()
    if best is None or not outcome.case.same_model or not outcome.ours:
        return None
    worse = max(float(run["criterion"]) for run in outcome.ours) - best
    return worse, worse <= criterion_slack(best)
