"""What do the targets want, for whatever shows them beside something else?"""

from __future__ import annotations

from firstsilk.work.flowering.day import DayList
from firstsilk.work.flowering.targets import SeasonTargets, tell_targets
from firstsilk.work.occasion import Occasion

MOST_BESIDE = 10_000
"""Targets whose chances are worked out beside something else (so many take a second and a half); of more, a page that
must open at once leads to the page of targets instead. A choice of ours."""


def tell_targets_beside(on: Occasion, day: DayList) -> SeasonTargets | None:
    """As `tell_targets`; None where there are so many that only the page of targets itself works them out."""
    return tell_targets(on, day) if len(day.progress) <= MOST_BESIDE else None
