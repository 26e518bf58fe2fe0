"""All tables of the books in one list, as Django wants them."""

from firstsilk.records.analysis import Estimate
from firstsilk.records.choice import Verdict
from firstsilk.records.climate import Site, WeatherDay, WeatherFeed, WeatherHour
from firstsilk.records.flowering import AsideSettled, DayClose, KeyedSheet, Note, NoteAside
from firstsilk.records.lineage import Line, LineMerge, LineName, MarkerPanel, MarkerSample
from firstsilk.records.nursery import CrewPlan, Row, Season, Spray, Target
from firstsilk.records.seed import GerminationTest, Lot, LotOrigin, Movement, Reservation, Weighing
from firstsilk.records.station import Account, Device, Job, Result, Role, SignInTry, Station, Tag, Worker, WorkRule
from firstsilk.records.trials import Plot, PlotRecord, Trial

__all__ = [
    "Account",
    "AsideSettled",
    "CrewPlan",
    "DayClose",
    "Device",
    "Estimate",
    "GerminationTest",
    "Job",
    "KeyedSheet",
    "Line",
    "LineMerge",
    "LineName",
    "Lot",
    "LotOrigin",
    "MarkerPanel",
    "MarkerSample",
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
    "Spray",
    "Station",
    "Tag",
    "Target",
    "Trial",
    "Verdict",
    "WeatherDay",
    "WeatherFeed",
    "WeatherHour",
    "Weighing",
    "WorkRule",
    "Worker",
]
