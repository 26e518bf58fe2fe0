"""Do the books keep the rules that cannot be put in later?"""

from __future__ import annotations

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import models

from firstsilk.records.models import Account, Station
from firstsilk.records.station import SignInTry, StationRecord
from firstsilk.station.sqlite import pragmas_for_version

BOOKS = list(apps.get_app_config("records").get_models())


@pytest.mark.django_db
def test_migrations_say_what_the_models_say() -> None:
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_every_table_carries_its_station() -> None:
    apart = {Station, SignInTry}
    without = [model.__name__ for model in BOOKS if model not in apart and not _has_station(model)]
    assert without == []


def _has_station(model: type[models.Model]) -> bool:
    return issubclass(model, StationRecord) or model is Account


def test_names_and_tags_are_unique_within_a_station_only() -> None:
    for model in BOOKS:
        if not issubclass(model, StationRecord):
            continue
        for field in model._meta.get_fields():
            assert not getattr(field, "unique", False) or getattr(field, "primary_key", False), (model, field)
        for rule in model._meta.constraints:
            if isinstance(rule, models.UniqueConstraint):
                assert "station" in rule.fields or rule.fields[0] in ("result",), (model.__name__, rule.name)


def test_old_sqlite_gets_no_wal_and_new_one_syncs_each_commit() -> None:
    assert "journal_mode=DELETE; PRAGMA synchronous=EXTRA" in pragmas_for_version((3, 40, 1))
    assert "journal_mode=DELETE" in pragmas_for_version((3, 51, 2))
    assert "journal_mode=WAL; PRAGMA synchronous=FULL" in pragmas_for_version((3, 51, 3))


@pytest.mark.django_db
@pytest.mark.parametrize("table", ["note", "noteaside", "movement"])
def test_database_has_a_guard_against_changing_and_deleting(table: str) -> None:
    from django.db import connection

    ask = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgrelid = %s::regclass",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(ask, [f"records_{table}"])
        names = {name for (name,) in cursor.fetchall()}
    assert names == {f"records_{table}_no_update", f"records_{table}_no_delete"}
