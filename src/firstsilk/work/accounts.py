"""Who may sign in at the desk, and what may each role do?

Four roles. Everything is forbidden unless a page says which roles may read it and which may change it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.auth import authenticate
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction

from firstsilk.answers import refuse
from firstsilk.records.models import Account, Role, SignInTry
from firstsilk.work.occasion import Occasion
from firstsilk.work.shelf import get_station

BREEDER, TECHNICIAN, CREW_LEADER, COOPERATOR = (str(role) for role in Role.values)

READERS = frozenset({BREEDER, TECHNICIAN, CREW_LEADER, COOPERATOR})
CREW = frozenset({BREEDER, TECHNICIAN, CREW_LEADER})
DESK = frozenset({BREEDER, TECHNICIAN})
DECIDERS = frozenset({BREEDER})
LEADERS = frozenset({BREEDER, CREW_LEADER})
"""Those who lead people in the field: they alone see the crew's age bands, hours and work."""
NOBODY: frozenset[str] = frozenset()

FREE_TRIES = 5
LONGEST_WAIT_S = 900
LONGEST_NAME = 150


@dataclass(frozen=True, slots=True)
class AccountFacts:
    """One account as its station sees it."""

    name: str
    role: str
    is_active: bool
    last_sign_in: datetime | None


def add_account(on: Occasion, name: str, password: str, role: str) -> AccountFacts:
    """Make an account at the occasion's station.

    Raises
    ------
    InputRefused
        If the role is unknown, the name is taken, or the password is too short or too common.
    """
    station = get_station(on.station)
    if role not in Role.values:
        raise refuse("role_unknown", f"There is no role {role!r}.", f"Roles are: {', '.join(Role.values)}.")
    if len(name) > LONGEST_NAME or not name.isprintable():
        yes_if = f"Use letters and figures, {LONGEST_NAME} signs or fewer."
        raise refuse(
            "name_unfit", f"The account name {name[:20]!r} is too long or holds signs that do not print.", yes_if
        )
    if not name.strip() or Account.objects.filter(username=name).exists():
        raise refuse("name_taken", f"The account name {name!r} is empty or taken.", "Choose another name.")
    try:
        validate_password(password)
    except ValidationError as error:
        raise refuse("password_weak", " ".join(error.messages), "Choose a longer, less common password.") from None
    try:
        with transaction.atomic():
            account = Account.objects.create_user(username=name, password=password, station=station, role=role)
    except IntegrityError:
        # Somebody took the name while the password was being sealed.
        raise refuse("name_taken", f"The account name {name!r} is taken.", "Choose another name.") from None
    return AccountFacts(account.username, account.role, True, None)


def list_accounts(on: Occasion) -> tuple[AccountFacts, ...]:
    """All accounts of the station, by name."""
    accounts = Account.objects.filter(station__code=on.station).order_by("username")
    return tuple(AccountFacts(one.username, one.role, one.is_active, one.last_login) for one in accounts)


def close_account(on: Occasion, name: str) -> None:
    """Close an account; its open sessions end with the next page asked for."""
    if name == on.who:
        raise refuse("own_account", "You cannot close your own account.", "Ask another breeder to do it.")
    if not Account.objects.filter(station__code=on.station, username=name).update(is_active=False):
        raise refuse("account_unknown", f"There is no account {name!r} at this station.", "Check the name.")


def wait_before_next_try_s(name: str, now: datetime) -> float:
    """Seconds to wait before this name may try again; 0 if it may try now.

    Notes
    -----
    After `FREE_TRIES` failures in a day each further failure doubles the wait, up to `LONGEST_WAIT_S`: at most
    about 100 tries a day, and nobody is ever locked out for good.
    """
    tries = list(
        SignInTry.objects.filter(name=name.lower()[:LONGEST_NAME], tried_at__gt=now - timedelta(days=1))
        .order_by("-tried_at")
        .values_list("tried_at", flat=True)[:100]
    )
    if len(tries) < FREE_TRIES:
        return 0.0
    wait = min(LONGEST_WAIT_S, 2.0 ** min(len(tries) - FREE_TRIES + 1, 20))
    return max(0.0, wait - (now - tries[0]).total_seconds())


def sign_in(name: str, password: str, now: datetime) -> Account | None:
    """The account if name and password are right and the name need not wait; None otherwise."""
    tried = name.lower()[:LONGEST_NAME]
    with transaction.atomic():
        # The try is written down before the password is looked at, so that many at once are counted too.
        if wait_before_next_try_s(name, now) > 0:
            return None
        SignInTry.objects.create(name=tried, tried_at=now)
        SignInTry.objects.filter(tried_at__lt=now - timedelta(days=2)).delete()
    account = authenticate(username=name, password=password)
    if account is not None:
        SignInTry.objects.filter(name=tried).delete()
    return account if isinstance(account, Account) else None
