"""What is the whole invented station, and how is it built from one seed?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from firstsilk.invented.genes import LineTruth
from firstsilk.invented.pedigrees import InventedLine, LineBook, Truth, build_line_book, find_truth, learn_lines
from firstsilk.invented.programme import PastRow, PastTrials, play_past_nursery, play_past_trials
from firstsilk.invented.trials import PlotResult, TrialPlot, play_trial
from firstsilk.invented.weather import DEMO_YEAR, SITES, InventedSite, InventedWeather, simulate_weather

STATION_CODE = "eskerholm"
STATION_NAME = "Eskerholm Growers' Cooperative"
TIME_ZONE = "Etc/GMT+3"
OFFSET_MIN = -180
"""Three hours behind UTC the year round; the zone's name has the opposite sign by its standard."""


@dataclass(frozen=True, slots=True)
class World:
    """The invented station with all that it knows, all that it will see, and the truth.

    `weather` runs to the end of the demo year; `past_trials` and `past_rows` are what the station brings; `book.truth`
    is never brought.
    """

    seed: int
    sites: tuple[InventedSite, ...]
    weather: InventedWeather
    book: LineBook
    past_trials: PastTrials
    past_rows: tuple[PastRow, ...]

    @property
    def home(self) -> str:
        """Code of the home site."""
        return next(site.code for site in self.sites if site.home)

    @property
    def truth(self) -> Truth:
        """The true values of all lines and hybrids."""
        return self.book.truth


def build_world(seed: int = 1, last_year: int = DEMO_YEAR) -> World:
    """Build the invented station.

    Parameters
    ----------
    seed
        Same seed, same world.
    last_year
        The year to which the weather runs.

    Returns
    -------
    World
        Weather, lines and hybrids with their truth, the trials of 2029 and 2030 and the nursery of 2030.

    Notes
    -----
    Checked by ``tests/work/test_invented_station.py``.
    """
    weather = simulate_weather(seed, last_year=last_year)
    book, trials = play_past_trials(seed, weather, build_line_book(seed))
    book, rows = play_past_nursery(seed, weather, book, trials)
    return World(seed, SITES, weather, book, trials, rows)


def add_lines(world: World, lines: Iterable[InventedLine]) -> World:
    """The world with lines or hybrids made later; see `pedigrees.learn_lines`. The old world is unchanged."""
    return replace(world, book=learn_lines(world.book, lines))


def find_row_truth(world: World, name: str) -> LineTruth:
    """What a line, or a hybrid grown in a nursery row, is truly worth; KeyError if the world does not know it."""
    return find_truth(world.book.truth, name)


def play_plots(world: World, plots: Iterable[TrialPlot]) -> tuple[PlotResult, ...]:
    """Grow and combine trial plots in this world; see `trials.play_trial`.

    Raises
    ------
    KeyError
        If an entry is no hybrid that the world knows; add it with `add_lines` first.
    """
    return play_trial(world.seed, world.weather, world.truth.hybrids, plots)
