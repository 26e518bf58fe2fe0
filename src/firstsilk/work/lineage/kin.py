"""How closely are chosen lines related, and who is a line's closest kin with seed on hand?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import InputRefused, refuse
from firstsilk.records.models import Line, Station
from firstsilk.work.lineage.ancestry import Books, collect_ancestors, find_kinship, read_books
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.stock import read_stock
from firstsilk.work.shelf import find_lines, get_station

MOST_LINES = 40
"""Lines in one table of kinship; more can be read in no picture."""
MOST_MEMBERS = 3000
"""Ancestors and lines reckoned at once while a page waits. Our own bound."""
MOST_KIN = 10


@dataclass(frozen=True, slots=True)
class Kin:
    """A related line with seed: its coancestry with the line [0 to 1], its group, its free kernels."""

    name: str
    coancestry: float
    group: str
    free_kernels: int


@dataclass(frozen=True, slots=True)
class KinshipTable:
    """Coancestry of every pair of `names` [0 to 1], row by row, (1 + F) / 2 on the diagonal, and inbreeding F."""

    names: tuple[str, ...]
    groups: tuple[str, ...]
    inbreeding: tuple[float, ...]
    coancestry: tuple[tuple[float, ...], ...]
    basis: Basis


def read_kinship(on: Occasion, names: Sequence[str]) -> KinshipTable:
    """Kinship among chosen lines, from the pedigrees in the books.

    Raises
    ------
    InputRefused
        Fewer than two lines, too many, a name that is not in the books, or a pedigree that cannot be worked through.

    Notes
    -----
    Founders are taken as unrelated. Checked by tests/work/test_lineage_work.py.
    """
    station = get_station(on.station)
    wanted = list(dict.fromkeys(name.strip() for name in names if name.strip()))
    if not 2 <= len(wanted) <= MOST_LINES:
        told = f"Kinship needs 2 to {MOST_LINES} lines; {len(wanted)} named."
        raise refuse("kinship_of_how_many", told, "Choose the lines to compare.")
    books = read_books(station, on.today)
    found = find_lines(station, wanted)
    unknown = [name for name in wanted if name not in found]
    if unknown:
        raise refuse("line_unknown", f"Not in the books: {', '.join(unknown)}.", "Write each name as it is there.")
    lines = list({(line := books.get_standing(found[name])).pk: line for name in wanted}.values())
    if len(lines) < 2:
        told = f"{' and '.join(wanted)} are names of one line, {lines[0].name}."
        raise refuse("kinship_of_how_many", told, "Choose another line to compare it with.")
    kinship = find_kinship(lines, books)
    place = {name: at for at, name in enumerate(kinship.lines)}
    at = [place[line.name] for line in lines]
    return KinshipTable(
        names=tuple(line.name for line in lines),
        groups=tuple(line.group for line in lines),
        inbreeding=tuple(float(kinship.inbreeding[one]) for one in at),
        coancestry=tuple(tuple(float(kinship.coancestry[one, two]) for two in at) for one in at),
        basis=Basis((("lines and ancestors", len(kinship.lines)),), tuple(tell_founders(lines, books))),
    )


def tell_founders(lines: Sequence[Line], books: Books) -> list[str]:
    """What kinship takes for granted about these lines, in sentences."""
    behind = collect_ancestors(lines, books)
    founders = sum(1 for line in behind if line.method.startswith("founder"))
    lost = sum(1 for line in behind if not line.method.startswith("founder") and not line.mother_id)
    told = [f"{founders} founder{' is' if founders == 1 else 's are'} taken as unrelated"] if founders else []
    return [*told, f"the mother of {lost} is not known"] if lost else told


def find_kin_on_hand(
    on: Occasion, station: Station, line: Line, books: Books
) -> tuple[float | None, tuple[Kin, ...], list[str]]:
    """Inbreeding of a line, its closest relatives with free seed, and what could not be told."""
    line = books.get_standing(line)
    standing = books.tell_kept()
    free: dict[str, int] = {}
    for lot in read_stock(station, up_to=on.today):
        name = standing.get(lot.line, lot.line)
        free[name] = free.get(name, 0) + max(0, lot.free)
    others = [one for one in books.values() if one.kind == "line" and free.get(one.name, 0) > 0 and one.pk != line.pk]
    missing = []
    if len(collect_ancestors([line, *others], books)) > MOST_MEMBERS:
        others = [one for one in others if one.group == line.group]
        missing.append("kin is looked for within the line's own group only")
    if len(collect_ancestors([line, *others], books)) > MOST_MEMBERS:
        others = []
        missing.append("there are too many lines with seed to look for kin while a page waits")
    try:
        kinship = find_kinship([line, *others], books)
    except InputRefused as error:
        return None, (), [*missing, f"kinship cannot be reckoned: {error}".rstrip(".")]
    place = {name: at for at, name in enumerate(kinship.lines)}
    row = kinship.coancestry[place[line.name]]
    kin = [Kin(one.name, float(row[place[one.name]]), one.group, free[one.name]) for one in others]
    kin = sorted((one for one in kin if one.coancestry > 0), key=lambda one: (-one.coancestry, one.name))
    return float(kinship.inbreeding[place[line.name]]), tuple(kin[:MOST_KIN]), missing
