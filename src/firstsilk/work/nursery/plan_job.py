"""How are the sowing days of a large plan worked out beside the pages?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, fields
from datetime import date

from firstsilk.work.nursery.joint_sowing import tell_joint
from firstsilk.work.nursery.plan import PlanSettings, plan_nursery
from firstsilk.work.occasion import Occasion, Progress

DAYS = ("sow_from", "cutoff_on", "last_safe_on")


def write_settings(settings: PlanSettings) -> dict[str, object]:
    """Settings as a job carries them: days as ISO text."""
    told: dict[str, object] = asdict(settings)
    told |= {name: None if (day := getattr(settings, name)) is None else day.isoformat() for name in DAYS}
    return {**told, "closed": [day.isoformat() for day in settings.closed], "weekdays": list(settings.weekdays)}


def read_settings(told: Mapping[str, object]) -> PlanSettings:
    """The settings that `write_settings` wrote."""
    given = {one.name: told[one.name] for one in fields(PlanSettings)}
    given |= {name: date.fromisoformat(str(given[name])) if given[name] else None for name in DAYS}
    closed, weekdays = given["closed"], given["weekdays"]
    assert isinstance(closed, list)
    assert isinstance(weekdays, list)
    given |= {"closed": tuple(map(date.fromisoformat, closed)), "weekdays": tuple(weekdays)}
    return PlanSettings(**given)  # type: ignore[arg-type]


def plan_sowing_days(on: Occasion, arguments: Mapping[str, object], progress: Progress) -> dict[str, object]:
    """Work out the days of a season's drafts and keep them; nothing else is changed."""
    settings = arguments["settings"]
    assert isinstance(settings, Mapping)
    progress(0.05, "choosing the sowing days of all parents together")
    made = plan_nursery(on, str(arguments["season"]), read_settings(settings), patience="keep")
    told = tell_joint(made.joint) if made.joint is not None else ("There is no cross.",)
    progress(1.0, "done")
    return {"told": list(told), "query": str(arguments.get("query", ""))}
