"""Which doors does lineage have? `kin` for a pedigree table, `pedigree` for one written pedigree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, check_out, give_json, give_result
from firstsilk.faces.files.pedigrees import read_pairs, read_pedigree
from firstsilk.faces.files.tables import write_table
from firstsilk.science.lineage.kinship import find_coancestry
from firstsilk.science.lineage.large_pedigree import find_coancestry_of_pairs
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.told_pedigree import PedigreeTold, tell_pedigree
from firstsilk.science.lineage.trees import Advanced, Tree

PAIR_COLUMNS = ("line_a", "line_b", "coancestry")
TABLE_UP_TO = 2_000
"""Members up to which all pairs are worked out though few are asked for: this is quicker then. Our own bound."""


def kin(
    pedigree: Annotated[str, typer.Argument(help="Table: line, mother, father, method[, selfings].")],
    pairs: Annotated[
        str, typer.Option("--pairs", help="File to write: line_a, line_b, coancestry.", callback=check_out)
    ] = "",
    among: Annotated[str, typer.Option("--among", help="Only the pairs in this file: line_a, line_b.")] = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """Inbreeding of each line, and the coancestry of pairs.

    Methods: founder, founder_inbred, cross, self, sib, dh, bulk, open. A row stands for one plant; sib and bulk use
    further members of the mother's family. Pairs include each line with itself, (1 + F) / 2.
    """
    if among and not (pairs or as_json):
        raise typer.BadParameter("--among picks the pairs to write: name the file to write with --pairs.")
    if pairs == "-" and (as_json or out in ("", "-")):
        raise typer.BadParameter("standard output is taken already: give --pairs a file.")
    members = read_pedigree(pedigree)
    asked = read_pairs(among, members) if among else None
    inbreeding, found = _find_kinship(members, asked, every_pair=bool(pairs) and not among)
    more: dict[str, object] = {}
    if pairs or among:
        if as_json:
            more["pairs"] = [dict(zip(PAIR_COLUMNS, row, strict=True)) for row in found]
        if pairs:
            write_table(pairs, PAIR_COLUMNS, found)
    rows = [(member.line, value) for member, value in zip(members, inbreeding, strict=True)]
    give_result(("line", "inbreeding"), rows, out, as_json, more)


def pedigree(
    text: Annotated[
        str, typer.Argument(metavar="PEDIGREE", help='A written pedigree, e.g. "A*2/B//C", "(A/B)-3-1-B".')
    ],
    out: Annotated[
        str, typer.Option("--out", help="File to write the shares to as well: founder, share.", callback=check_out)
    ] = "",
    kin_rows: Annotated[
        str,
        typer.Option("--kin", help="File to write the rows of kinship to as well, for `kin`.", callback=check_out),
    ] = "",
    as_json: AsJson = False,
) -> None:
    """Read a written pedigree: its normal form, its tree, the founders' shares, and what it tells, as one JSON object.

    Female left; / first cross, // or /2/ second, /3/ third; *n counts the doses of the recurrent parent. A hyphen is
    one generation advance, also behind a bracket: -3 ear 3, -B or -B*n selfed ears in bulk, -# or -#*n an increase,
    -D4 a doubled haploid. 31-0412-7 is a packet (year, row, plant), F2:3 a generation.
    """
    told = tell_pedigree(text)
    shares = {founder: float(share) for founder, share in told.shares.items()}
    if out not in ("", "-"):
        write_table(out, ("founder", "share"), list(shares.items()))
    if kin_rows:
        rows = [(one.line, one.mother, one.father, one.method, one.selfings) for one in told.members]
        write_table(kin_rows, ("line", "mother", "father", "method", "selfings"), rows)
    if kin_rows != "-":
        give_json({"normal": told.normal, "tree": _nested(told.tree), "shares": shares, **_tell(told)})


def _tell(told: PedigreeTold) -> dict[str, object]:
    """What a pedigree tells beside its tree; null where it tells nothing."""
    derived = told.derived_from
    return {
        "source": told.source,
        "advances": [
            {"written": one.written, "kind": one.kind, "number": one.number or None, "generations": one.times}
            for one in told.advances
        ],
        "generation": told.generation or None,
        "inbreeding": told.inbreeding,
        "inbreeding_by_kin": told.inbreeding_by_kin,
        "stands_for": told.stands_for or None,
        "derived_from": None if derived is None else asdict(derived),
        "assumed": list(told.assumed),
        "doubts": list(told.doubts),
    }


def _find_kinship(
    members: Sequence[Member], asked: Sequence[tuple[str, str]] | None, every_pair: bool
) -> tuple[list[float], list[tuple[str, str, float]]]:
    """Inbreeding of each line, and the pairs asked for with their coancestry."""
    if not every_pair and len(members) > TABLE_UP_TO:
        asked = asked or ()
        inbreeding, shared = find_coancestry_of_pairs(members, asked)
        return inbreeding.tolist(), [(*pair, value) for pair, value in zip(asked, shared.tolist(), strict=True)]
    kinship = find_coancestry(members)
    place = {line: at for at, line in enumerate(kinship.lines)}
    if every_pair:
        asked = [(one, other) for at, one in enumerate(kinship.lines) for other in kinship.lines[at:]]
    found = [(one, other, float(kinship.coancestry[place[one], place[other]])) for one, other in asked or ()]
    return kinship.inbreeding.tolist(), found


def _nested(tree: Tree) -> object:
    """A cross as [female, male]; what was advanced stands as what it was made of."""
    if isinstance(tree, Advanced):
        return _nested(tree.source)
    return tree if isinstance(tree, str) else [_nested(tree.female), _nested(tree.male)]
