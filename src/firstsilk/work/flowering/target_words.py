"""How is the outlook of a target said in one sentence with its numbers?"""

from __future__ import annotations

from datetime import date

from firstsilk.science.flowering.targets import TargetOutlook
from firstsilk.work.flowering.progress import TargetProgress


def say_target(
    progress: TargetProgress,
    outlook: TargetOutlook,
    verdict: str,
    today: int,
    stop_on: date | None,
    last_on: date | None,
) -> str:
    """One sentence: the chance, what is missing, what is still possible, until when."""
    wanted = _say_wanted(progress)
    now = say_chance(outlook.now_frac)
    if verdict == "enough":
        return f"Enough: {now} for {wanted} with {_say_there(progress)}."
    if verdict == "over":
        return f"Nothing more can be made: the chance of {wanted} stays at {now} with {_say_there(progress)}."
    if verdict == "unknown":
        return f"Nothing tells yet when its rows silk; {outlook.more:,} pollinations are asked for."
    if verdict == "hopeless":
        can = say_chance(outlook.can_frac)
        return f"Cannot be reached: {can} for {wanted} even if every plant is made that still can be."
    last = f" until {_say(last_on)}" if last_on else ""
    told = f"{say_chance(outlook.asked_frac)} for {wanted} if {_say_asked(outlook.more)} made"
    told += f" ({today:,} today), {now} if none is" if today else f", {now} if none is"
    told += f"; at most {outlook.possible:,.0f} can still be made{last}."
    return f"{told} Stop after {_say(stop_on)}." if stop_on is not None and verdict == "going" else told


def say_chance(frac: float) -> str:
    """A chance in whole percent; never 0 or 100 where it is not certain."""
    if 0.0 < frac < 0.01:
        return "under 1 %"
    if 0.99 < frac < 1.0:
        return "over 99 %"
    return f"{100 * frac:.0f} %"


def _say_asked(more: int) -> str:
    return "the one asked for is" if more == 1 else f"the {more:,} asked for are"


def _say_wanted(progress: TargetProgress) -> str:
    if progress.kernels_wanted:
        return f"{progress.kernels_wanted:,} kernels"
    return f"{progress.ears_wanted:,} good ear{'' if progress.ears_wanted == 1 else 's'}"


def _say_there(progress: TargetProgress) -> str:
    if progress.ears_picked:
        shelled = f", {progress.kernels:,} kernels" if progress.kernels else ""
        return f"{progress.ears_picked:,} good ear{'' if progress.ears_picked == 1 else 's'} picked{shelled}"
    standing = max(0, progress.ears_pollinated - progress.spoiled)
    return f"{standing:,} pollination{'' if standing == 1 else 's'} standing"


def _say(day: date | None) -> str:
    return f"{day.day} {day:%B}" if day is not None else "?"
