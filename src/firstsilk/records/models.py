"""All tables of the books in one list, as Django wants them."""

from firstsilk.records.analysis import Estimate
from firstsilk.records.choice import Verdict
from firstsilk.records.climate import Site, WeatherDay, WeatherFeed, WeatherHour
from firstsilk.records.flowering import Note, NoteAside
from firstsilk.records.lineage import Line, LineMerge, LineName
from firstsilk.records.nursery import CrewPlan, Row, Season, Target
from firstsilk.records.seed import GerminationTest, Lot, LotOrigin, Movement, Reservation, Weighing
from firstsilk.records.station import Account, Device, Job, Result, Role, SignInTry, Station, Tag, Worker
from firstsilk.records.trials import Plot, PlotRecord, Trial

__all__ = [
    "Account",
    "CrewPlan",
    "Device",
    "Estimate",
    "GerminationTest",
    "Job",
    "Line",
    "LineMerge",
    "LineName",
    "Lot",
    "LotOrigin",
    "Movement",
    "Note",
    "NoteAside",
    "Plot",
    "PlotRecord",
    "Reservation",
    "Result",
    "Role",
    "Row",
    "Season",
    "SignInTry",
    "Site",
    "Station",
    "Tag",
    "Target",
    "Trial",
    "Verdict",
    "WeatherDay",
    "WeatherFeed",
    "WeatherHour",
    "Weighing",
    "Worker",
]
