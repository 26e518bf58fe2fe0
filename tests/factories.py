"""Small stations made straight in the books, for tests that need no tables: one place, one set of names."""

from __future__ import annotations

import math
from datetime import UTC, date, datetime, timedelta

from firstsilk.records.models import (
    Account,
    Line,
    Lot,
    Movement,
    Reservation,
    Row,
    Season,
    Site,
    Station,
    Target,
    WeatherDay,
)
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import take_tags

CODE = "esker"
PASSWORD = "bright-silk-31"


def occasion(day: date, who: str = "tests", hour: int = 9) -> Occasion:
    """An occasion at the station of `make_station`."""
    return Occasion(CODE, day, datetime(day.year, day.month, day.day, hour, 0, tzinfo=UTC), who)


def make_station(code: str = CODE, held: date | None = None) -> Station:
    """A station with one site, home."""
    station = Station.objects.create(
        code=code, name="Eskerholm Growers' Cooperative", latitude=50.4, held_date=held, is_invented=held is not None
    )
    Site.objects.create(station=station, code="home", name="Home fields", latitude=50.4, longitude=1.2, is_home=True)
    return station


def make_weather(station: Station, first_year: int, last: date) -> None:
    """Every day from 1 January of a year to `last`: a smooth year, a little warmer or cooler by turns."""
    site = Site.objects.get(station=station, is_home=True)
    day, days = date(first_year, 1, 1), []
    while day <= last:
        turn = (day.year % 3 - 1) * 0.8
        mean = 7.0 - 12.0 * math.cos(2 * math.pi * (day.timetuple().tm_yday - 20) / 365.25) + turn
        days.append(WeatherDay(station=station, site=site, date=day, tmin_c=mean - 6, tmax_c=mean + 7, rain_mm=1.0))
        day += timedelta(days=1)
    WeatherDay.objects.bulk_create(days, batch_size=500)


def make_season(station: Station, name: str = "2031", sow_from: date | None = date(2031, 5, 12)) -> Season:
    """A season at home, with a cutoff in August."""
    site = Site.objects.get(station=station, is_home=True)
    year = int(name[:4])
    return Season.objects.create(
        station=station, name=name, year=year, site=site, sow_from=sow_from, cutoff_on=date(year, 8, 20)
    )


def make_line(
    station: Station, name: str, silk: float | None = 1290, shed: float | None = 1270, **more: object
) -> Line:
    """An inbred founder unless said otherwise."""
    given = {"method": "founder_inbred", "generation": "S7", "pedigree": name, **more}
    return Line.objects.create(station=station, name=name, units_to_silk=silk, units_to_shed=shed, **given)


def make_lot(line: Line, kernels: int = 500, year: int = 2030, name: str = "", **more: object) -> Lot:
    """A lot with one opening movement."""
    station = line.station
    given = {"germination_frac": 0.95, "germination_seeds": 400, "origin": "received", **more}
    name = name or f"{line.name}-{year % 100}"
    lot = Lot.objects.create(
        station=station, tag=take_tags(station, "lot", 1)[0], name=name, line=line, year=year, **given
    )
    if kernels:
        Movement.objects.create(
            station=station,
            lot=lot,
            kernels=kernels,
            reason="opening",
            moved_on=date(year, 12, 1),
            recorded_at=datetime(year, 12, 1, tzinfo=UTC),
        )
    return lot


def make_target(season: Season, number: int, female: Line, male: Line | None = None, ears: int = 4, **more) -> Target:
    """A draft target."""
    given = {"kind": "cross" if male else "self", **more}
    return Target.objects.create(
        station=season.station, season=season, number=number, female=female, male=male, ears_wanted=ears, **given
    )


def make_row(
    season: Season,
    number: int,
    line: Line,
    purpose: str = "self",
    target: Target | None = None,
    lot: Lot | None = None,
    kernels: int = 24,
    sow_on: date | None = date(2031, 5, 12),
    reserve: bool = False,
    **more,
) -> Row:
    """One row of a walk with ten rows a range; with its seed promised if asked."""
    station = season.station
    range_index, step = divmod(number - 1, 10)
    place = {"field_row": range_index + 1, "field_col": step + 1 if range_index % 2 == 0 else 10 - step}
    row = Row.objects.create(
        station=station,
        season=season,
        tag=take_tags(station, "row", 1)[0],
        number=number,
        line=line,
        purpose=purpose,
        target=target,
        lot=lot,
        kernels=kernels,
        sow_on=sow_on,
        **{**place, **more},
    )
    if target is not None:
        Target.objects.filter(pk=target.pk).update(state="planned")
    if reserve:
        Reservation.objects.create(
            station=station, lot=lot, row=row, target=target, kernels=kernels, reserved_on=date(2031, 4, 1)
        )
    return row


def take_note(on: Occasion, row: Row, kind: str, value: object = "", on_day: date | None = None, **more: str) -> str:
    """One note about a row; returns its id."""
    day = on_day or on.today
    text = value.isoformat() if isinstance(value, date) else str(value)
    draft = NoteDraft(kind, row.tag, value=text, taken_local=f"{day.isoformat()}T10:00:00", **more)
    return write_notes(on, [draft])[0]


def sign_in(client, station: Station, role: str) -> None:
    """Sign a test client in as an account of this role."""
    account, _ = Account.objects.get_or_create(
        username=f"{role}-{station.code}", defaults={"station": station, "role": role}
    )
    client.force_login(account)
