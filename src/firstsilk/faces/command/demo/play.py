"""How is one year of the invented station played, day by day, through the work functions?

Nature and the crew come from the simulator; everything the station does goes through the same functions as on a page.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from django.conf import settings as wiring

from firstsilk.faces.command.demo.field import play_nursery
from firstsilk.faces.command.demo.markers import bring_invented_markers
from firstsilk.faces.command.demo.trials import lay_trials, weigh_trials
from firstsilk.faces.command.demo.wishes import list_wishes
from firstsilk.faces.files.station import read_station_folder
from firstsilk.faces.files.tables import write_table
from firstsilk.invented.season import Field
from firstsilk.invented.station import list_weather, write_tables
from firstsilk.invented.world import TIME_ZONE, World, build_world
from firstsilk.work.accounts import add_account
from firstsilk.work.analysis.analyse import analyse_trials
from firstsilk.work.analysis.facts import TrialAnalysis
from firstsilk.work.bring.store import Brought, bring_station
from firstsilk.work.choice.decide import decide
from firstsilk.work.choice.facts import ChoicePage, ChoiceSettings, Decision
from firstsilk.work.choice.next_season import NextPlan, plan_next_season
from firstsilk.work.choice.propose import propose_verdicts
from firstsilk.work.climate.arrivals import DayReading, add_weather_of_sites
from firstsilk.work.climate.sites import list_sites
from firstsilk.work.flowering.chain import ChainCheck, verify_chain
from firstsilk.work.flowering.crew_plan import CrewFacts, set_crew
from firstsilk.work.flowering.day import TargetProgress, read_progress
from firstsilk.work.lineage.untested import predict_untested
from firstsilk.work.nursery.plan import NurseryPlan, PlanSettings, add_targets, list_targets, plan_nursery
from firstsilk.work.nursery.sow import settle_sowing
from firstsilk.work.occasion import Occasion, stay_silent
from firstsilk.work.seed.harvest import MadeLots, make_lots
from firstsilk.work.seed.shelling import Shelled
from firstsilk.work.station import hold_day, mark_invented

YEAR = 2031
SHOWN_DAY = date(2031, 8, 1)
SUNDAY = 6
TRAITS = ("yield_kg_ha_15_5", "moisture_pct", "erect_frac")


@dataclass(slots=True)
class Year:
    """What one year came to, for the account of it."""

    world: World
    brought: Brought | None = None
    plan: NurseryPlan | None = None
    sown: int = 0
    nursery: Field | None = None
    notes: dict[str, int] = field(default_factory=dict)
    peak: tuple[date, int] = (SHOWN_DAY, 0)
    progress: tuple[TargetProgress, ...] = ()
    bench: list[Shelled] = field(default_factory=list)
    lots: MadeLots | None = None
    trials: dict[str, int] = field(default_factory=dict)
    analysis: TrialAnalysis | None = None
    choice: ChoicePage | None = None
    next_plan: NextPlan | None = None
    chain: ChainCheck | None = None


def occasion_at(day: date, hour: int = 18, who: str = "breeder", station: str = "eskerholm") -> Occasion:
    """An occasion on a day of the invented year."""
    now = datetime(day.year, day.month, day.day, hour, tzinfo=ZoneInfo(TIME_ZONE))
    return Occasion(station, day, now, who)


def play_year(seed: int, tell: Callable[[str], None], password: str, accounts: Sequence[tuple[str, str]]) -> Year:
    """Build the station of this seed and play its year; the books end on the held day."""
    tell("Building the invented world: weather, lines, lots, two years of trials.")
    year = Year(build_world(seed))
    folder = Path(wiring.HOME) / "tables"
    folder.mkdir(parents=True, exist_ok=True)
    tell("Bringing its tables in, as any station would.")
    winter = occasion_at(date(YEAR - 1, 12, 10))
    year.brought = _bring_tables(year.world, folder, occasion_at(winter.today, station=""))
    mark_invented(winter)
    bring_invented_markers(year.world, Path(wiring.HOME) / "markers", winter)
    for name, role in accounts:
        add_account(winter, name, password, role)
    tell(f"December {YEAR - 1}: analysis, verdicts, plan.")
    _decide(winter, (YEAR - 2, YEAR - 1))
    predict_untested(winter)
    tell(f"Spring {YEAR}: germination is in, the nursery plan, the trials and their packets.")
    spring = occasion_at(date(YEAR, 4, 2))
    _bring_tables(year.world, folder, spring)
    known = {(one.female, one.male) for one in list_targets(spring, str(YEAR))}
    add_targets(spring, str(YEAR), list_wishes(spring, known))
    year.plan = plan_nursery(spring, str(YEAR), _plan_settings(), fix=True)
    set_crew(spring, str(YEAR), CrewFacts(1, 1, date(YEAR, 7, 17), 7.0, None, None))
    year.trials = lay_trials(occasion_at(date(YEAR, 4, 10)), year.world, YEAR)
    play_nursery(year, str(YEAR), lambda day: _bring_weather(year.world, day), occasion_at, tell)
    _close_year(year, tell)
    return year


def _plan_settings() -> PlanSettings:
    return PlanSettings(sow_from=date(YEAR, 5, 14), rows_per_range=20, cutoff_on=date(YEAR, 8, 22))


def _bring_tables(world: World, folder: Path, on: Occasion) -> Brought:
    """Write the tables as the station has them on a day, and bring them: what is there already is recognised."""
    write_tables(world, folder, on.today - timedelta(days=1), write_table)
    return bring_station(on, read_station_folder(folder))


def _bring_weather(world: World, up_to: date, is_last: bool = False) -> None:
    """Add the weather that is not in the books yet, up to a day: of the home site daily, of others on Sundays."""
    on = occasion_at(up_to + timedelta(days=1))
    due = [site.code for site in world.sites if site.home or is_last or up_to.weekday() == SUNDAY]
    last = {one.code: one.last_day or date(YEAR - 1, 12, 1) for one in list_sites(on).sites}
    by_site: dict[str, list[DayReading]] = {code: [] for code in due if last[code] < up_to}
    if not by_site:
        return
    first = min(last[code] for code in by_site) + timedelta(days=1)
    for site, told, tmin_c, tmax_c, rain_mm in list_weather(world, first, up_to):
        code, day = str(site), date.fromisoformat(str(told))
        if code in by_site and day > last[code]:
            by_site[code].append(DayReading(day, float(str(tmin_c)), float(str(tmax_c)), float(str(rain_mm))))
    add_weather_of_sites(on, by_site, f"weather to {up_to}")


def _close_year(year: Year, tell: Callable[[str], None]) -> None:
    tell("Autumn: ears into lots, trials weighed, analysis, verdicts, next plan.")
    autumn = occasion_at(date(YEAR, 10, 25))
    _bring_weather(year.world, autumn.today, is_last=True)
    year.sown = settle_sowing(autumn, str(YEAR)).settled
    year.lots = make_lots(autumn, str(YEAR))
    year.progress, _ = read_progress(autumn, str(YEAR))
    weigh_trials(occasion_at(date(YEAR, 11, 5)), year.world, YEAR, year.trials)
    december = occasion_at(date(YEAR, 12, 10))
    year.analysis, year.choice, year.next_plan = _decide(december, (YEAR - 2, YEAR - 1, YEAR))
    predict_untested(december)
    year.chain = verify_chain(december)
    hold_day(december, year.peak[0])


def _decide(on: Occasion, years: tuple[int, ...]) -> tuple[TrialAnalysis, ChoicePage, NextPlan]:
    """Analyse, take the proposals as verdicts, and draft the next season."""
    found = [analyse_trials(on, years, trait, 1, stay_silent) for trait in TRAITS]
    settings = ChoiceSettings()
    page = propose_verdicts(on, years[-1], settings)
    decide(on, years[-1], [Decision(one.line, one.verdict) for one in page.candidates], settings)
    return found[0], page, plan_next_season(on, years[-1])
