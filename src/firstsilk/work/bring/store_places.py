"""How do the station, its sites and their weather come into the books?"""

from __future__ import annotations

from collections import defaultdict

from firstsilk.answers import Place
from firstsilk.records.models import Site, WeatherDay
from firstsilk.work.bring.compare import fill_record
from firstsilk.work.bring.storing import CHUNK, Storing
from firstsilk.work.bring.tables import DayGiven
from firstsilk.work.climate.quality import doubt_days
from firstsilk.work.climate.readings import read_readings
from firstsilk.work.climate.sent import DayReading


def store_sites(storing: Storing) -> None:
    """New sites; what an old one lacked."""
    station = storing.station
    storing.sites = {site.code: site for site in Site.objects.filter(station=station)}
    for given in storing.tables.sites:
        site = storing.sites.get(given.site)
        if site is None:
            assert given.latitude is not None
            assert given.longitude is not None
            storing.sites[given.site] = Site.objects.create(
                station=station,
                code=given.site,
                name=given.name,
                latitude=given.latitude,
                longitude=given.longitude,
                elevation_m=given.elevation_m,
                is_home=bool(given.home),
            )
            storing.count("sites", new=1)
            continue
        wishes = [
            ("name", "name", given.name),
            ("latitude", "latitude", given.latitude),
            ("longitude", "longitude", given.longitude),
            ("elevation_m", "elevation_m", given.elevation_m),
            ("home", "is_home", given.home),
        ]
        filled = fill_record(site, given, wishes, f"site {site.code!r}", storing.findings)
        if filled:
            site.save(update_fields=filled)
        storing.count_filled("sites", filled)


def store_weather(storing: Storing) -> None:
    """New days in bulk; rain where an old day lacked it. A day without both temperatures is left out."""
    by_site: dict[str, dict[object, DayGiven]] = defaultdict(dict)
    for given in storing.tables.weather:
        if given.date is not None and given.tmin_c is not None and given.tmax_c is not None:
            by_site[given.site][given.date] = given
    for code, days in by_site.items():
        _store_days(storing, storing.sites[code], list(days.values()))


def _store_days(storing: Storing, site: Site, days: list[DayGiven]) -> None:
    dates = [day.date for day in days if day.date is not None]
    there = {
        day.date: day
        for day in WeatherDay.objects.filter(
            station=storing.station, site=site, date__gte=min(dates), date__lte=max(dates)
        )
    }
    new, filled = [], []
    _doubt_days(storing, site, [given for given in days if given.date not in there])
    for given in days:
        assert given.date is not None
        before = there.get(given.date)
        if before is None:
            new.append(_make_day(storing, site, given))
            continue
        if before.origin != "measured":
            # Filled or forecast until now: what was measured takes its place.
            assert given.tmin_c is not None
            assert given.tmax_c is not None
            before.tmin_c, before.tmax_c, before.rain_mm = given.tmin_c, given.tmax_c, given.rain_mm
            before.origin = "measured"
            filled.append(before)
            storing.count_filled("weather", ["origin"])
            continue
        wishes = [(column, column, getattr(given, column)) for column in ("tmin_c", "tmax_c", "rain_mm")]
        what = f"{given.date} at site {site.code!r}"
        changed = fill_record(before, given, wishes, what, storing.findings)
        if changed:
            filled.append(before)
        storing.count_filled("weather", changed)
    WeatherDay.objects.bulk_create(new, batch_size=CHUNK)
    WeatherDay.objects.bulk_update(filled, ["tmin_c", "tmax_c", "rain_mm", "origin"], batch_size=CHUNK)
    storing.count("weather", new=len(new))


def _make_day(storing: Storing, site: Site, given: DayGiven) -> WeatherDay:
    assert given.date is not None
    assert given.tmin_c is not None
    assert given.tmax_c is not None
    return WeatherDay(
        station=storing.station,
        site=site,
        date=given.date,
        tmin_c=given.tmin_c,
        tmax_c=given.tmax_c,
        rain_mm=given.rain_mm,
    )


def _doubt_days(storing: Storing, site: Site, new: list[DayGiven]) -> None:
    """Say what is hard to believe about new days; here it only warns, since nobody is asked to keep it."""
    known = read_readings(storing.station, site, storing.on.today)
    measured = known.only([at for at, origin in enumerate(known.origins) if origin == "measured"])
    sent = [
        DayReading(one.date, one.tmin_c, one.tmax_c, one.rain_mm, Place(one.at_file, one.at_line))
        for one in new
        if one.date is not None
    ]
    storing.findings += doubt_days(site, measured, sent, "weather", keep_doubts=True)
