"""Who may open which address? Every address of the desk with every role, and nobody without one."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from firstsilk.work.accounts import READERS, add_account

ROLES = ("breeder", "technician", "crew_leader", "cooperator")
PASSWORD = "a long enough secret"
OPEN = {"sign-in", "sign-out"}


def list_patterns(resolver: URLResolver, prefix: str = "") -> Iterator[tuple[str, URLPattern]]:
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            yield from list_patterns(entry, prefix + str(entry.pattern))
        else:
            yield prefix + str(entry.pattern), entry


DESK = [(address, entry) for address, entry in list_patterns(get_resolver()) if not address.startswith("pocket/")]


@pytest.fixture
def clients(on) -> dict[str, Client]:
    made = {}
    for role in ROLES:
        add_account(on, f"the-{role}", PASSWORD, role)
        made[role] = Client()
        assert made[role].login(username=f"the-{role}", password=PASSWORD)
    made[""] = Client()
    return made


def open_address(entry: URLPattern) -> str:
    """The address with something in each place; what is not there answers 404 or 422, never another page."""
    places = {name: "1" if name in ("number", "job_id", "page", "year") else "nothing" for name in _names(entry)}
    return reverse(str(entry.name), kwargs=places)


def _names(entry: URLPattern) -> list[str]:
    return list(entry.pattern.converters)


def test_every_address_of_the_desk_declares_its_roles_or_is_on_the_short_open_list() -> None:
    undeclared = [
        address
        for address, entry in DESK
        if not hasattr(entry.callback, "read_roles") and not getattr(entry.callback, "is_open", False)
    ]
    assert undeclared == []
    assert {entry.name for _, entry in DESK if getattr(entry.callback, "is_open", False)} == OPEN


def test_cooperator_may_change_nothing() -> None:
    assert [address for address, entry in DESK if "cooperator" in getattr(entry.callback, "change_roles", ())] == []


@pytest.mark.django_db
@pytest.mark.parametrize(("address", "entry"), DESK, ids=[address or "home" for address, _ in DESK])
def test_address_opens_for_its_roles_and_for_no_other(address: str, entry: URLPattern, clients) -> None:
    if entry.name in OPEN:
        return
    where = open_address(entry)
    assert clients[""].get(where).status_code == 302
    for role in ROLES:
        answer = clients[role].get(where)
        if role in entry.callback.read_roles:
            assert answer.status_code in (200, 302, 404, 405, 422), (role, answer.status_code)
        else:
            assert answer.status_code == 403, role
        if role not in entry.callback.change_roles:
            assert clients[role].post(where).status_code == 403, role


@pytest.mark.django_db
def test_rooms_open_for_every_reader(clients) -> None:
    for room in ("home", "climate", "lineage", "nursery", "flowering", "seed", "trials", "analysis", "choice"):
        for role in READERS:
            assert clients[role].get(reverse(room)).status_code == 200, (room, role)


@pytest.mark.django_db
def test_closed_account_loses_its_session(on, clients) -> None:
    from firstsilk.work.accounts import close_account

    assert clients["technician"].get(reverse("home")).status_code == 200
    close_account(on, "the-technician")
    assert clients["technician"].get(reverse("home")).status_code == 302


@pytest.mark.django_db
def test_guessing_a_password_gets_slower_and_the_right_one_works_after_the_wait(on) -> None:
    from datetime import timedelta

    from firstsilk.work.accounts import sign_in, wait_before_next_try_s

    add_account(on, "target", PASSWORD, "breeder")
    now = on.now
    for _ in range(12):
        assert sign_in("target", "wrong guess", now) is None
        now += timedelta(seconds=wait_before_next_try_s("target", now))
    assert sign_in("target", "wrong guess", now) is None
    assert wait_before_next_try_s("target", now) > 100
    assert sign_in("target", PASSWORD, now) is None, "even the right one has to wait"
    now += timedelta(seconds=wait_before_next_try_s("target", now) + 1)
    assert sign_in("target", PASSWORD, now) is not None
    assert wait_before_next_try_s("target", now) == 0
