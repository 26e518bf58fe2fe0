"""A fixed cast for trials, analysis and choice: lines, testers, hybrids, lots, and plots of known truth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime

import numpy as np

from firstsilk.records.models import (
    Account,
    Line,
    Lot,
    Movement,
    Plot,
    PlotRecord,
    Site,
    Station,
    Trial,
)
from firstsilk.science.seed.tags import tag_for_serial
from firstsilk.work.occasion import Occasion

DAY = date(2031, 12, 1)
NOW = datetime(2031, 12, 1, 9, 0, tzinfo=UTC)
AREA_M2 = 8.0


@dataclass
class Cast:
    """The station, and what is true of it."""

    on: Occasion
    station: Station
    truth: dict[str, float]
    moisture_truth: dict[str, float]
    line_of: dict[str, str]
    serial: int = 0

    def add_lot(self, line: Line, kernels: int, year: int = 2030, name: str = "") -> Lot:
        """A lot of a line with its opening movement."""
        self.serial += 1
        lot = Lot.objects.create(
            station=self.station,
            tag=tag_for_serial(self.serial),
            name=name or f"{line.name}-{year}",
            line=line,
            origin="received",
            origin_text="cast",
            year=year,
        )
        Movement.objects.create(
            station=self.station,
            lot=lot,
            kernels=kernels,
            reason="opening",
            moved_on=date(year, 11, 1),
            recorded_at=NOW,
        )
        Station.objects.filter(pk=self.station.pk).update(last_tag_serial=self.serial)
        return lot


def make_station(who: str = "command") -> Cast:
    """A station with four sites and nothing else, whose day stands still."""
    station = Station.objects.create(
        code="esker", name="Eskerholm Growers' Cooperative", latitude=50.4, held_date=DAY, is_invented=True
    )
    for at, code in enumerate(("home", "tarn", "fell", "beck")):
        Site.objects.create(
            station=station, code=code, name=code.title(), latitude=50.0 + at, longitude=-1.0, is_home=at == 0
        )
    return Cast(Occasion("esker", DAY, NOW, who), station, {}, {}, {})


def add_people(cast: Cast) -> dict[str, Account]:
    """One account of each role."""
    return {
        role: Account.objects.create_user(username=role, password="a long password 7", station=cast.station, role=role)
        for role in ("breeder", "technician", "crew_leader", "cooperator")
    }


def add_lines(cast: Cast, n_lines: int, seed: int = 5) -> list[Line]:
    """S2 lines of two groups, each with a tester of the other group; two checks; their true worth."""
    rng = np.random.default_rng(seed)
    make = Line.objects.create
    founders = {
        name: make(station=cast.station, name=name, method="founder_inbred", group=name[0])
        for name in (f"{group}-{at}" for group in "NS" for at in range(6))
    }
    for group in "NS":
        make(station=cast.station, name=f"{group}-T", method="founder_inbred", group=group, is_tester=True)
    for name in ("CHECK-1", "CHECK-2"):
        line = make(station=cast.station, name=name, kind="hybrid", method="founder", is_check=True)
        cast.truth[name], cast.moisture_truth[name] = 200.0, 0.0
        cast.add_lot(line, 5000)
    lines = []
    for at in range(n_lines):
        group = "NS"[at % 2]
        bottom = make(
            station=cast.station,
            name=f"{group}F{at}",
            method="cross",
            mother=founders[f"{group}-{at % 6}"],
            father=founders[f"{group}-{(at + 3) % 6}"],
            group=group,
        )
        line = make(
            station=cast.station,
            name=f"{group}{at:02d}",
            method="self",
            mother=bottom,
            selfings=3,
            generation="S2",
            group=group,
        )
        cast.truth[line.name] = float(rng.normal(0, 450))
        cast.moisture_truth[line.name] = float(rng.normal(0, 1.2))
        lines.append(line)
    return lines


def add_hybrids(cast: Cast, lines: list[Line], kernels: int = 2000) -> list[Line]:
    """The testcross of each line with the tester of the other group, with seed."""
    hybrids = []
    for line in lines:
        tester = Line.objects.get(station=cast.station, name="S-T" if line.group == "N" else "N-T")
        name = f"{tester.name}/{line.name}"
        hybrid = Line.objects.create(
            station=cast.station, name=name, kind="hybrid", method="cross", mother=tester, father=line
        )
        cast.truth[name], cast.moisture_truth[name] = cast.truth[line.name], cast.moisture_truth[line.name]
        cast.line_of[name] = line.name
        if kernels:
            cast.add_lot(hybrid, kernels)
        hybrids.append(hybrid)
    return hybrids


def grow_trials(cast: Cast, entries: list[Line], year: int, reps: int = 2, error: float = 450.0) -> None:
    """A trial of the entries and both checks at each site, with every plot recorded."""
    rng = np.random.default_rng(11 + year)
    checks = list(Line.objects.filter(station=cast.station, is_check=True).order_by("name"))
    for site in Site.objects.filter(station=cast.station).order_by("code"):
        trial = Trial.objects.create(
            station=cast.station, name=f"{site.code}-{year}", series="TC1", site=site, year=year, reps=reps,
            plot_area_m2=AREA_M2, kernels_per_plot=75,
        )  # fmt: skip
        place = float(rng.normal(8000, 700))
        own = {line.name: float(rng.normal(0, 250)) for line in [*entries, *checks]}
        for rep in range(1, reps + 1):
            order = rng.permutation(len(entries) + len(checks))
            for at, k in enumerate(order, 1):
                line = [*entries, *checks][int(k)]
                grain = place + cast.truth[line.name] + own[line.name] + float(rng.normal(0, error))
                water = 24.0 + cast.moisture_truth[line.name] + float(rng.normal(0, 0.6))
                number = (rep - 1) * len(order) + at
                plot = Plot.objects.create(
                    station=cast.station, trial=trial, number=number, rep=str(rep), field_row=rep, field_col=at,
                    entry=line, is_check=line.is_check,
                )  # fmt: skip
                PlotRecord.objects.create(
                    station=cast.station,
                    plot=plot,
                    weight_kg=grain * AREA_M2 / 10_000 * 84.5 / (100 - water),
                    moisture_pct=water,
                    yield_kg_ha_15_5=grain,
                    stand=60,
                    root_lodged=int(rng.integers(0, 3)),
                    stalk_lodged=int(rng.integers(0, 4)),
                    recorded_at=NOW,
                    source="cast",
                )


def make_grown_cast(n_lines: int = 20, year: int = 2031, who: str = "command") -> Cast:
    """A station with lines, their testcrosses with seed, and one year of trials at four sites."""
    cast = make_station(who)
    grow_trials(cast, add_hybrids(cast, add_lines(cast, n_lines)), year)
    return cast
