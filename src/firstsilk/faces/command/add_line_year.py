"""How is a line or hybrid added to the books from the shell?"""

from __future__ import annotations

from typing import Annotated

import typer

from firstsilk.faces.command.giving import AsJson, give_json, say
from firstsilk.faces.command.station import StationCode, Today, open_books


def add_line(
    name: Annotated[str, typer.Argument(help="The name of the line or hybrid.")],
    stands_for: Annotated[str, typer.Option("--stands-for", help="What the record is: plant, family or bulk.")],
    method: Annotated[
        str, typer.Option("--method", help="How it was made, as for kin: cross, self, dh ...")
    ] = "founder",
    mother: Annotated[str, typer.Option("--mother", help="Its mother, by any of her names.")] = "",
    father: Annotated[str, typer.Option("--father", help="Its father, for a cross or bulk.")] = "",
    selfings: Annotated[int, typer.Option("--selfings", min=1, max=50, help="Generations of selfing, for a self.")] = 1,
    generation: Annotated[str, typer.Option("--generation", help="Its generation, such as S2 or F4.")] = "",
    derived_from: Annotated[str, typer.Option("--derived-from", help="Line in whose row the plant stood.")] = "",
    plant: Annotated[str, typer.Option("--plant", help="Number of the plant that the family comes from.")] = "",
    plant_generation: Annotated[str, typer.Option("--plant-generation", help="Generation of that plant.")] = "",
    pedigree: Annotated[
        str, typer.Option("--pedigree", help="Written pedigree; made from the parents if absent.")
    ] = "",
    group: Annotated[str, typer.Option("--group", help="Heterotic group.")] = "",
    kind: Annotated[str, typer.Option("--kind", help="line or hybrid.")] = "line",
    tester: Annotated[bool, typer.Option("--tester", help="It serves as a tester.")] = False,
    check: Annotated[bool, typer.Option("--check", help="It serves as a check.")] = False,
    remark: Annotated[str, typer.Option("--remark", help="A remark.")] = "",
    station: StationCode = "",
    today: Today = "",
    as_json: AsJson = False,
) -> None:
    """Add a line or hybrid to the books.

    From which plant it comes is read from its name, where that goes on from the mother's and nothing is told.
    """
    on = open_books(station, today)
    from firstsilk.work.lineage.newcomers import NewLine, add_line

    new = NewLine(
        *(name, kind, stands_for, method, mother, father, selfings, generation),
        *(derived_from, plant, plant_generation, pedigree, group, tester, check),
        remark=remark,
    )
    added = add_line(on, new)
    for finding in added.findings:
        say(finding.as_text())
    if as_json:
        give_json({"line": added.name, "how": added.how, "pedigree": added.pedigree, "basis": added.basis.as_text()})
    else:
        print(f"{added.name} is in the books: {added.how}.")
