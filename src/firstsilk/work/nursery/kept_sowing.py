"""Were the sowing days of this very plan worked out already? Large ones are, beside the pages, and kept."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, fields
from datetime import date
from math import comb
from typing import Any, Literal

from firstsilk import __version__
from firstsilk.answers import refuse
from firstsilk.records.models import Result, Station
from firstsilk.work.nursery.joint_sowing import CrossMeeting, CrossNeed, FieldLimits, JointSowing
from firstsilk.work.nursery.past_days import PastDays
from firstsilk.work.nursery.rates import LineRates
from firstsilk.work.occasion import Occasion

KIND = "sowing_days"
Patience = Literal["wait", "refuse", "keep"]
"""What to do about a large question that is not kept: work it out, refuse it, or work it out and keep it."""

MOST_CROSSES_AT_ONCE = 120
MOST_CELLS_AT_ONCE = 400_000
"""Up to these a page works the days out itself, in about two seconds on one core (measured, docs/figures.md)."""


def is_large(needs: Sequence[CrossNeed], limits: FieldLimits) -> bool:
    """Whether a page should not wait for the days of these crosses."""
    days = len(limits.days)
    females = sum(comb(days, size) for size in range(1, limits.female_sowings + 1))
    males = sum(comb(days, size) for size in range(1, limits.male_sowings + 1))
    return len(needs) > MOST_CROSSES_AT_ONCE or len(needs) * females * males > MOST_CELLS_AT_ONCE


def hash_question(
    needs: Sequence[CrossNeed], rates: Mapping[str, LineRates], past: PastDays, limits: FieldLimits
) -> str:
    """A hash of all that the days depend on."""
    lines = sorted({name for one in needs for name in (one.female, one.male)})
    units = [(name, rates[name].units_to_silk, rates[name].units_to_shed, rates[name].units_source) for name in lines]
    told = json.dumps([__version__, [asdict(one) for one in needs], units, asdict(limits), past.sow_from.isoformat()])
    digest = hashlib.sha256(told.encode())
    for array in (past.heat.daily, past.heat.workable, past.frosty):
        if array is not None:
            digest.update(array.tobytes())
    return digest.hexdigest()


def settle_joint(
    on: Occasion,
    station: Station,
    patience: Patience,
    key: str,
    large: bool,
    choose: Callable[[], JointSowing],
) -> JointSowing:
    """The days kept for this question, or worked out now.

    Raises
    ------
    InputRefused
        If it is large, not kept, and `patience` is ``refuse``.
    """
    kept = Result.objects.filter(station=station, kind=KIND, inputs_hash=key).order_by("-pk").first()
    if kept is not None:
        return _read(kept.answer)
    if large and patience == "refuse":
        told = "So many crosses and days take longer than a page should."
        raise refuse("plan_is_large", told, "Have the sowing days worked out beside the pages, then come back.")
    found = choose()
    if patience == "keep":
        Result.objects.create(
            station=station,
            kind=KIND,
            made_on=on.today,
            made_at=on.now,
            version=__version__,
            inputs_hash=key,
            settings={},
            n_records=found.members,
            answer=_write(found),
        )
    return found


def _write(joint: JointSowing) -> dict[str, Any]:
    """As JSON: roles as lists, days as ISO text."""
    told = asdict(joint)
    told["days"] = [[role, line, list(days)] for (role, line), days in joint.days.items()]
    plain: dict[str, Any] = json.loads(json.dumps(told, default=lambda value: value.isoformat()))
    return plain


def _read(told: Mapping[str, Any]) -> JointSowing:
    whole = {one.name: told[one.name] for one in fields(JointSowing)}
    whole["days"] = {(role, line): tuple(days) for role, line, days in told["days"]}
    whole["meetings"] = tuple(_read_meeting(one) for one in told["meetings"])
    whole["last_safe"] = {line: _read_day(day) for line, day in told["last_safe"].items()}
    return JointSowing(**whole)


def _read_meeting(told: Mapping[str, Any]) -> CrossMeeting:
    days = {
        name: tuple(map(_read_day, told[name])) for name in ("female_sown", "male_sown", "silk_about", "shed_about")
    }
    return CrossMeeting(**{**told, **days})


def _read_day(text: str | None) -> date | None:
    return date.fromisoformat(text) if text else None
