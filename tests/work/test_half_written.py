"""An error never leaves half of a change: whichever statement fails, the books are as before or as after, whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from django.apps import apps
from django.db import OperationalError, connection, transaction

from firstsilk.faces.files.station import read_station_files
from firstsilk.records.models import NoteAside
from firstsilk.work.bring.store import bring_station
from firstsilk.work.flowering.day_close import close_day
from firstsilk.work.flowering.notes import NoteDraft
from firstsilk.work.flowering.receive import receive_notes
from firstsilk.work.flowering.settling import keep_correction, settle_as_note
from tests.small_station import NEW_OCCASION, SMALL_STATION
from tests.work.station_books import ON, PHONE, make_station, make_wire

pytestmark = pytest.mark.django_db

Change = Callable[[], object]


class FailAt:
    """Lets statements pass until the n-th, which fails as a bad disk would; 0 fails none and counts them."""

    def __init__(self, n: int) -> None:
        self.n, self.seen = n, 0

    def __call__(self, execute, sql, params, many, context):
        self.seen += 1
        if self.seen == self.n:
            raise OperationalError("disk I/O error")
        return execute(sql, params, many, context)


def read_everything() -> dict[str, list[tuple[object, ...]]]:
    """All rows of all tables of the books."""
    return {
        model.__name__: sorted(model.objects.values_list(), key=repr)
        for model in apps.get_app_config("records").get_models()
    }


@contextmanager
def undone() -> Iterator[None]:
    """Whatever is changed within is gone afterwards."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def fail_each_statement(change: Change) -> int:
    """Fail each statement of a change in turn; the books must be as before it, or as after it. Gives their number."""
    before = read_everything()
    with undone():
        with connection.execute_wrapper(counter := FailAt(0)):
            change()
        after = without_keys(read_everything())
    assert counter.seen > 3
    assert after != without_keys(before)
    for n in range(1, counter.seen + 1):
        with undone():
            with connection.execute_wrapper(FailAt(n)), pytest.raises(OperationalError):
                change()
            left = read_everything()
            assert left == before or without_keys(left) == after, f"half written when statement {n} failed"
    return counter.seen


def without_keys(tables: dict[str, list[tuple[object, ...]]]) -> dict[str, int]:
    """What two runs of the same change have in common: how many rows of each table there are."""
    return {name: len(rows) for name, rows in tables.items()}


def _sync() -> object:
    wires: list[object] = [make_wire(number) for number in range(2, 6)]
    return receive_notes(ON, PHONE, [*wires, "no note", make_wire(1)], "2031-07-14T11:00:00", 120, 9, "pocket", 3)


def _close() -> object:
    return close_day(ON, "phone is broken")


def _settle() -> object:
    return settle_as_note(ON, NoteAside.objects.get().pk, NoteDraft("silk", "0000002Y"))


def _keep() -> object:
    return keep_correction(ON, str(make_wire(3)["id"]))


@pytest.mark.parametrize("change", [_sync, _close, _settle, _keep], ids=["sync", "day close", "settle", "keep"])
def test_change_of_the_field_is_whole_or_not_at_all_whichever_statement_fails(change: Change) -> None:
    make_station()
    first = make_wire(1)
    fixes = [make_wire(number, replaces=first["id"]) for number in (3, 4)] if change is _keep else []
    receive_notes(ON, PHONE, [first, *fixes, "bread"])
    print(fail_each_statement(change), "statements")


def test_bringing_a_station_is_whole_or_not_at_all_whichever_statement_fails() -> None:
    tables = read_station_files({name: text.encode() for name, text in SMALL_STATION.items()})
    print(fail_each_statement(lambda: bring_station(NEW_OCCASION, tables)), "statements")


def test_a_change_written_in_two_transactions_is_found() -> None:
    make_station()

    def careless() -> None:
        receive_notes(ON, PHONE, [make_wire(1)])
        receive_notes(ON, PHONE, [make_wire(2)])

    with pytest.raises(AssertionError, match="half written"):
        fail_each_statement(careless)
