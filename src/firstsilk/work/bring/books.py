"""What do the books hold already that the tables of a station may speak of?"""

from __future__ import annotations

from dataclasses import replace

from firstsilk.records.models import Line, LineName, Lot, Plot, Row, Site, Station, Trial
from firstsilk.science.lineage.derivation import Derivation
from firstsilk.work.bring.known import Known, KnownLine
from firstsilk.work.bring.tables import StationTables
from firstsilk.work.occasion import Occasion
from firstsilk.work.standing import read_kept_names


def find_station(on: Occasion, tables: StationTables) -> Station | None:
    """The station that is meant: the occasion's, else the one the tables name, else the only one in the books."""
    code = on.station or (tables.station[0].station if tables.station else "")
    if code:
        return Station.objects.filter(code=code).first()
    found = list(Station.objects.all()[:2])
    return found[0] if len(found) == 1 else None


def put_own_names(on: Occasion, tables: StationTables) -> StationTables:
    """The tables with each line called by its own name in the books, where another name of it was written."""
    station = find_station(on, tables)
    if station is None:
        return tables
    own = dict(LineName.objects.filter(station=station).values_list("name", "line__name"))
    if not own:
        return tables

    def call(name: str) -> str:
        return own.get(name, name)

    return replace(
        tables,
        lines=tuple(
            replace(
                one,
                line=call(one.line),
                mother=call(one.mother),
                father=call(one.father),
                derived_from=call(one.derived_from),
            )
            for one in tables.lines
        ),
        lots=tuple(replace(one, line=call(one.line)) for one in tables.lots),
        rows=tuple(replace(one, line=call(one.line)) for one in tables.rows),
        plots=tuple(replace(one, entry=call(one.entry)) for one in tables.plots),
    )


def read_known(on: Occasion, tables: StationTables) -> Known:
    """Names in the books of the station that is meant; nothing if it is new."""
    station = find_station(on, tables)
    others = [code for code in Station.objects.values_list("code", flat=True) if not station or code != station.code]
    if station is None:
        return Known(station=on.station, others=tuple(others))
    sites = list(Site.objects.filter(station=station).order_by("code"))
    lines = Line.objects.filter(station=station).values_list(
        *("name", "method", "mother__name", "father__name", "selfings", "generation"),
        *("derived_from__name", "derived_plant", "derived_generation"),
    )
    rows = Row.objects.filter(station=station).values_list("season__name", "number", "field_row", "field_col")
    plots = Plot.objects.filter(station=station, field_row__isnull=False, field_col__isnull=False).values_list(
        "trial__name", "field_row", "field_col", "number"
    )
    return Known(
        station=station.code,
        scale=station.scale,
        is_there=True,
        others=tuple(others),
        sites=tuple(site.code for site in sites),
        home=next((site.code for site in sites if site.is_home), ""),
        lines={
            name: KnownLine(method, mother or "", father or "", selfings, generation, _tell_derived(*derived))
            for name, method, mother, father, selfings, generation, *derived in lines
        },
        lots=dict(Lot.objects.filter(station=station).values_list("name", "line__name")),
        rows={(season, number): (across, along) for season, number, across, along in rows},
        trials={
            name: (site, year)
            for name, site, year in Trial.objects.filter(station=station).values_list("name", "site__code", "year")
        },
        places={
            (trial, across, along): number
            for trial, across, along, number in plots
            if across is not None and along is not None
        },
        merged=read_kept_names(station),
    )


def _tell_derived(source: str | None, plant: str, generation: str) -> Derivation | None:
    return Derivation(source or "", plant, generation) if source or plant or generation else None
