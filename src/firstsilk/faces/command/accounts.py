"""How does the first person get to sign in?"""

from __future__ import annotations

import getpass
import sys
from typing import Annotated

import typer

from firstsilk.answers import refuse
from firstsilk.faces.command.giving import say
from firstsilk.faces.command.station import StationCode, open_books


def account(
    name: Annotated[str, typer.Argument(help="Name to sign in with.")],
    role: Annotated[str, typer.Option(help="breeder, technician, crew_leader or cooperator.")] = "breeder",
    station: StationCode = "",
) -> None:
    """Make an account for the desk. Asks for the password, or reads it from standard input where that is no screen."""
    on = open_books(station)
    from firstsilk.work.accounts import add_account

    made = add_account(on, name, _ask_password(), role)
    say(f"{made.name} may now sign in as {made.role.replace('_', ' ')}.")


def _ask_password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    first = getpass.getpass("Password, ten signs or more: ")
    if getpass.getpass("Once more: ") != first:
        raise refuse("passwords_differ", "The two passwords differ.", "Try again.")
    return first
