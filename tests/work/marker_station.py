"""A station whose lines and hybrids are the invented ones, with their markers to bring."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from firstsilk.answers import Place
from firstsilk.faces.files.station import read_station_files
from firstsilk.faces.files.tables import csv_text
from firstsilk.invented.markers import InventedSample, list_markers, read_samples
from firstsilk.invented.pedigrees import LineBook
from firstsilk.invented.station import LINE_COLUMNS, list_lines
from firstsilk.invented.world import build_world
from firstsilk.science.lineage.markers import MarkerTable
from firstsilk.work.bring.store import bring_station
from firstsilk.work.lineage.marker_given import MarkersGiven, SampleGiven
from firstsilk.work.occasion import Occasion
from tests.small_station import NEW_OCCASION, SMALL_STATION


@lru_cache(maxsize=1)
def invented_book() -> LineBook:
    """The lines of the invented station, hybrids among them."""
    return build_world(1).book


@lru_cache(maxsize=1)
def invented_samples() -> tuple[InventedSample, ...]:
    """Their samples, the planted wrong ones among them."""
    return read_samples(invented_book())


def bring_lines() -> Occasion:
    """Bring the invented lines alone; gives the occasion."""
    text = {name: SMALL_STATION[name] for name in ("station.csv", "sites.csv")}
    text["lines.csv"] = csv_text(LINE_COLUMNS, list_lines(build_world(1)))
    tables = read_station_files({name: one.encode() for name, one in text.items()})
    return replace(NEW_OCCASION, station=bring_station(NEW_OCCASION, tables).station)


def give(samples: tuple[InventedSample, ...]) -> MarkersGiven:
    """Samples as they are handed in, each with the place where a sheet names it."""
    markers = list_markers()
    table = MarkerTable(
        tuple(one.name for one in samples), tuple(name for name, _, _ in markers), np.array([s.calls for s in samples])
    )
    named = tuple(
        SampleGiven(one.name, one.line, place=Place("sheet.csv", at, "line")) for at, one in enumerate(samples, 2)
    )
    return MarkersGiven(table, named, tuple((chrom, at) for _, chrom, at in markers), False, "chip.vcf")
