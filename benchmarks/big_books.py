"""How large can a station's books be made for a test of them? 200,000 lines and 3 million notes, drawn from a seed.

Rows go straight into the tables, many at once, with the triggers of the books on. Names, tags, days and links are as
the program writes them; the chain of hashes over the notes is not computed, so these books are no trial of the chain.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, timedelta
from math import cos, pi

from benchmarks.big_pen import GROUPS, INSTANT, NOTES_A_ROW, STATION, TODAY, YEARS, Drawn, Pen, Size, insert
from benchmarks.big_trials import fill_trials
from django.db import connection

from firstsilk.records import models as books


def fill_books(size: Size, seed: int = 1) -> Pen:
    """Draw a whole station; nothing but the tables may be there. `add_facts` then gives one line its facts."""
    pen = Pen(random.Random(seed))
    _fill_station(pen)
    lines = list(_draw_lines(pen, size.lines))
    insert(books.Line, _LINE, (_line_values(pen, one) for one in lines))
    living = [one for one in lines if one.kind == "line"]
    _fill_lots(pen, lines)
    _fill_rows(pen, living, size.notes)
    fill_trials(pen, lines, size)
    close_books(pen)
    return pen


def _fill_station(pen: Pen) -> None:
    station = books.Station.objects.create(
        code=STATION, name="Eskerholm Growers' Cooperative", latitude=50.4, held_date=TODAY, is_invented=True
    )
    pen.station = station.pk
    home = [books.Site(station=station, code="home", name="Home fields", latitude=50.4, longitude=1.2, is_home=True)]
    away = [
        books.Site(station=station, code=f"site-{at}", name=f"Place {at}", latitude=50.0 + at / 10, longitude=1.0)
        for at in range(1, 6)
    ]
    books.Site.objects.bulk_create(home + away)
    site = books.Site.objects.get(code="home", station=station)
    seasons = [
        books.Season(station=station, name=str(year), year=year, site=site, sow_from=date(year, 5, 12))
        for year in YEARS
    ]
    books.Season.objects.bulk_create(seasons)
    days = []
    for step in range((date(YEARS[-1], 12, 31) - date(YEARS[0], 1, 1)).days + 1):
        day = date(YEARS[0], 1, 1) + timedelta(days=step)
        mean = 7.0 - 12.0 * cos(2 * pi * (day.timetuple().tm_yday - 20) / 365.25)
        days.append(books.WeatherDay(station=station, site=site, date=day, tmin_c=mean - 6, tmax_c=mean + 7))
    books.WeatherDay.objects.bulk_create(days, batch_size=500)
    books.Device.objects.bulk_create(
        books.Device(station=station, uuid=_device(number), number=number, label=f"phone {number}")
        for number in range(1, 21)
    )


def _draw_lines(pen: Pen, wanted: int) -> Iterator[Drawn]:
    """Founders, and then each year crosses within a group, selfings of the last years' families, and hybrids."""
    dice = pen.dice
    founders = [
        Drawn(pen.number("line"), f"F{at:04}", YEARS[0] - 1, "line", "founder_inbred", None, None, 7, GROUPS[at % 2])
        for at in range(max(20, wanted // 500))
    ]
    for at, one in enumerate(founders):
        one.is_tester = at < 12
    yield from founders
    best = {group: [one for one in founders if one.group == group] for group in GROUPS}
    segregating: dict[str, list[Drawn]] = {group: [] for group in GROUPS}
    a_year = (wanted - len(founders)) // len(YEARS)
    for year in YEARS:
        fresh: dict[str, list[Drawn]] = {group: [] for group in GROUPS}
        for at in range(a_year):
            group = GROUPS[at % 2]
            share = at / a_year
            if share < 0.03 or not segregating[group]:
                made = _cross(pen, year, group, best[group])
            elif share < 0.13:
                made = _hybrid(pen, year, dice.choice(best[group]), dice.choice(founders[:12]))
            else:
                made = _within(pen, year, dice.choice(segregating[group]))
            yield made
            if made.kind == "line":
                fresh[group].append(made)
        for group in GROUPS:
            fixed = [one for one in fresh[group] if one.selfings >= 4 or one.method == "dh"]
            best[group] = [*best[group][:40], *dice.sample(fixed, min(60, len(fixed)))]
            segregating[group] = [one for one in fresh[group] if one.selfings < 6 and one.method != "dh"]


def _cross(pen: Pen, year: int, group: str, best: Sequence[Drawn]) -> Drawn:
    mother, father = pen.dice.sample(best, 2)
    number = pen.number("line")
    return Drawn(number, f"C{number}", year, "line", "cross", mother.number, father.number, 0, group)


def _hybrid(pen: Pen, year: int, line: Drawn, tester: Drawn) -> Drawn:
    number = pen.number("line")
    father = tester if tester is not line else line
    made = Drawn(number, f"H{number}", year, "hybrid", "cross", line.number, father.number, 0, "")
    made.is_check = pen.dice.random() < 0.001
    return made


def _within(pen: Pen, year: int, mother: Drawn) -> Drawn:
    throw, number = pen.dice.random(), pen.number("line")
    method = "self" if throw < 0.92 else "dh" if throw < 0.97 else "sib"
    selfings = mother.selfings + (method == "self")
    return Drawn(number, f"E{number}", year, "line", method, mother.number, None, selfings, mother.group)


_LINE = (
    *("id", "station_id", "name", "kind", "stands_for", "method", "mother_id", "father_id", "selfings", "generation"),
    *("derived_plant", "derived_generation", "pedigree", "group", "is_tester", "is_check", "units_to_silk"),
    *("units_to_shed", "remark"),
)


def _line_values(pen: Pen, one: Drawn) -> tuple[object, ...]:
    selfed = 1 if one.method == "self" else 0
    generation = "" if one.kind == "hybrid" else f"S{one.selfings}"
    return (
        *(one.number, pen.station, one.name, one.kind, "family", one.method, one.mother, one.father, selfed),
        *(generation, "", "", "", one.group, one.is_tester, one.is_check, 1290.0, 1270.0, ""),
    )


LOT = (
    *("id", "station_id", "tag", "name", "line_id", "kind", "origin", "origin_text", "year", "germination_frac"),
    *("shelf", "box", "slot"),
)
MOVEMENT = (*("station_id", "lot_id", "kernels", "reason", "used_for", "moved_on", "recorded_at", "recorded_by"),)


def _fill_lots(pen: Pen, lines: Sequence[Drawn]) -> None:
    """A lot for each line; a third of them used up since."""
    lots = [(pen.number("lot"), one) for one in lines]
    insert(books.Lot, LOT, (lot_values(pen, number, f"L{number}", one.number, one.year) for number, one in lots))
    insert(books.Movement, MOVEMENT, _move(pen, lots))
    held = [(number, one) for number, one in lots if one.year == YEARS[-1]][::10]
    insert(
        books.Reservation,
        ("station_id", "lot_id", "kernels", "reserved_on"),
        ((pen.station, number, 30, date(YEARS[-1], 11, 1)) for number, _ in held),
    )


def lot_values(pen: Pen, number: int, name: str, line: int, year: int) -> tuple[object, ...]:
    """A lot as its table wants it."""
    shelf, box = f"{number % 40 + 1}", f"{number % 97 + 1}"
    return (number, pen.station, pen.tag(), name, line, "bulk", "received", "", year, 0.94, shelf, box, "")


def _move(pen: Pen, lots: Iterable[tuple[int, Drawn]]) -> Iterator[tuple[object, ...]]:
    for number, one in lots:
        kernels = pen.dice.randint(60, 900)
        day = date(max(one.year, YEARS[0]), 10, 20)
        yield (pen.station, number, kernels, "opening", "", day, INSTANT, "")
        used = kernels if number % 3 == 0 else min(kernels, 48)
        yield (pen.station, number, -used, "sown", "", date(day.year, 11, 5), INSTANT, "")


ROW = (
    *("id", "station_id", "season_id", "tag", "number", "field_row", "field_col", "line_id", "purpose", "kernels"),
    *("sow_on", "sowing"),
)


def _fill_rows(pen: Pen, lines: Sequence[Drawn], notes: int) -> None:
    """As many rows in each season as the notes are enough for, and the notes that tell of them."""
    a_season = notes // NOTES_A_ROW // len(YEARS)
    for season in books.Season.objects.filter(station=pen.station).order_by("year"):
        there = [one for one in lines if one.year < season.year]
        grown = [(number, pen.tag(), pen.dice.choice(there)) for number in range(1, a_season + 1)]
        rows = ((pen.number("row"), number, tag, one.number) for number, tag, one in grown)
        insert(books.Row, ROW, (row_values(pen, season, *row) for row in rows))
        told = (note for _, tag, _ in grown for note in tell_row(pen, tag, season.year, NOTES_A_ROW))
        insert(books.Note, NOTE, told)


def row_values(pen: Pen, season: books.Season, pk: int, number: int, tag: str, line: int) -> tuple[object, ...]:
    row, col = divmod(number, 100)
    return (
        *(pk, pen.station, season.pk, tag, number, row + 1, col + 1, line, "self", 25, date(season.year, 5, 12), 1),
    )


NOTE = (
    *("station_id", "uuid", "device", "device_number", "worker", "kind", "detail", "tag", "male", "bag", "value"),
    *("unit", "taken_at", "taken_local", "taken_on", "offset_min", "source", "app", "format", "practice", "doubt"),
    *("doubt_reason", "replaces", "check_sum", "position", "received_at", "previous_hash", "hash"),
)
_SAID = (
    ("sown", "", "day", 0),
    ("stand", "", "21", 25),
    ("silk_not_yet", "", "day", 68),
    ("silk", "", "day", 74),
    ("shed_not_yet", "", "day", 68),
    ("shed", "", "day", 72),
    ("shoot_bagged", "", "3", 70),
    ("shoot_bagged", "", "2", 72),
    ("tassel_bagged", "self", "2", 74),
    ("pollinated", "self", "3", 75),
    ("pollinated", "self", "2", 76),
    ("rated", "vigour", "7", 40),
    ("ears_picked", "", "4", 140),
    ("shelled", "", "700", 150),
    ("remarked", "", "Even stand.", 80),
)
"""What is noted of a row: kind, detail, value, days after sowing."""


def tell_row(pen: Pen, tag: str, year: int, notes: int) -> Iterator[tuple[object, ...]]:
    """So many notes of one row; now and then a count is put right, and now and then that is taken back."""
    last = ""
    for at in range(notes):
        kind, detail, value, after = _SAID[at % len(_SAID)]
        day = date(year, 5, 12) + timedelta(days=after + at // len(_SAID))
        replaces = ""
        if kind == "stand" and at < len(_SAID) and pen.dice.random() < 0.15:
            yield _note(pen, tag, day, kind, detail, "19", "")
            replaces = _uuid(pen.position)
        yield _note(pen, tag, day, kind, detail, day.isoformat() if value == "day" else value, replaces)
        last = _uuid(pen.position)
    if pen.dice.random() < 0.02:
        yield _note(pen, "", date(year, 10, 30), "withdrawn", "", "Written twice.", last)


def _note(pen: Pen, tag: str, day: date, kind: str, detail: str, value: str, replaces: str) -> tuple[object, ...]:
    pen.position += 1
    at = pen.position
    device = at % 20 + 1
    local = f"{day.isoformat()}T10:{at % 60:02}:00"
    male = tag if kind == "pollinated" else ""
    return (
        *(pen.station, _uuid(at), _device(device), at // 20 + 1, f"W{at % 30:02}", kind, detail, tag, male, ""),
        *(value, "", f"{day.isoformat()} 10:{at % 60:02}:00+00:00", local, day, 0, "phone", "1", 1, False, "", ""),
        *(replaces or None, "00000000", at, f"{day.isoformat()} 18:00:00+00:00", "0" * 64, f"{at:064x}"),
    )


def _uuid(at: int) -> str:
    return f"0190{at >> 16:08x}7{at & 0xFFF:03x}8{at & 0xFFFF:04x}{at:011x}"


def _device(number: int) -> str:
    return f"01900000000070008000{number:012x}"


def close_books(pen: Pen) -> None:
    """Let the books go on counting where this left off."""
    books.Station.objects.filter(pk=pen.station).update(last_tag_serial=pen.serial, last_device_number=20)
    tables = [books.Line, books.Lot, books.Row, books.Plot]
    from django.core.management.color import no_style

    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), tables):
            cursor.execute(statement)
