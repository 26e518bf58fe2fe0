"""How closely are chosen lines related, and who is a line's closest kin with seed on hand?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import InputRefused, refuse
from firstsilk.records.models import Line, Station
from firstsilk.work.lineage.ancestry import Books, collect_ancestors, find_kinship, read_books
from firstsilk.work.lineage.nearest import MOST_LOOKED_AT, Nearest
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
    """Inbreeding of a line, its closest relatives with free seed, and what could not be told.

    `books` need hold no more than the line and its ancestors.
    """
    line = books.get_standing(line)
    if len(collect_ancestors([line], books)) > MOST_MEMBERS:
        return None, (), ["the line has too many ancestors to look for kin while a page waits"]
    try:
        search = Nearest(station, line, Books(books.values(), books.kept))
    except InputRefused as error:
        return None, (), [f"kinship cannot be reckoned: {error}".rstrip(".")]
    found = search.find(MOST_KIN, lambda lines: _read_free(on, station, lines))
    kin = tuple(Kin(one.name, close, one.group, free) for one, close, free in found)
    cut = f"kin is looked for among {MOST_LOOKED_AT:,} relatives only, the closest first"
    return search.inbreeding, kin, [cut] if search.is_cut else []


def _read_free(on: Occasion, station: Station, lines: Sequence[Line]) -> dict[int, int]:
    number = {line.name: line.pk for line in lines}
    free: dict[int, int] = {}
    for lot in read_stock(station, number, on.today):
        if lot.free > 0:
            free[number[lot.line]] = free.get(number[lot.line], 0) + lot.free
    return free
