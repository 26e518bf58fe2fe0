"""Make the books of a small invented station in FIRSTSILK_HOME, a row for each purpose, and print what is needed.

``python prepare_books.py EMPTY``: the tables are those of the books EMPTY, which are made the first time.
"""

import json
import os
import shutil
import sys
from datetime import UTC, date, datetime
from pathlib import Path

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "firstsilk.station.settings")

import django

django.setup()

from django.conf import settings  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connection, transaction  # noqa: E402

from firstsilk.records.models import Line, Row, Season, Site, Station, Target  # noqa: E402
from firstsilk.work.flowering.devices import open_enrolment  # noqa: E402
from firstsilk.work.occasion import Occasion  # noqa: E402
from firstsilk.work.shelf import take_tags  # noqa: E402


def make_tables(empty: Path) -> None:
    if empty.exists():
        shutil.copy(empty, settings.DATABASES["default"]["NAME"])
        return
    call_command("migrate", verbosity=0)
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", (str(empty),))


def main() -> None:
    make_tables(Path(sys.argv[1]))
    station = Station.objects.create(
        code="eskerholm", name="Eskerholm Growers' Cooperative", latitude=54.0, is_invented=True
    )
    today = date(2031, 7, 20)
    Station.objects.filter(pk=station.pk).update(held_date=today)
    site = Site.objects.create(station=station, code="home", name="Home", latitude=54.0, longitude=10.0, is_home=True)
    season = Season.objects.create(station=station, name="2031", year=2031, site=site)
    early, late = (Line.objects.create(station=station, name=name) for name in ("EH-014", "EH-207"))
    selfed = Target.objects.create(station=station, season=season, number=1, kind="self", female=early, ears_wanted=6)
    crossed = Target.objects.create(
        station=station, season=season, number=2, kind="cross", female=early, male=late, ears_wanted=8
    )
    with transaction.atomic():
        tags = take_tags(station, "row", 3)
    for number, (tag, line, target, purpose) in enumerate(
        zip(tags, (early, early, late), (selfed, crossed, None), ("self", "female", "male"), strict=True), start=1
    ):
        Row.objects.create(
            station=station,
            season=season,
            tag=tag,
            number=110 + number,
            field_row=4,
            field_col=number,
            line=line,
            target=target,
            purpose=purpose,
        )
    code = open_enrolment(Occasion("eskerholm", today, datetime.now(UTC)), "north").code
    print(json.dumps({"tags": tags, "code": code}))


main()
