"""How does a station look up its lines from the shell? `lines` lists them, `line` tells the history of one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_json, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books

if TYPE_CHECKING:
    from firstsilk.work.lineage.ancestry import Ancestor
    from firstsilk.work.lineage.line import LinePage
    from firstsilk.work.lineage.noted import LineNotes

KINDS = ("line", "hybrid", "tester", "check")
LINE_COLUMNS = (
    *("line", "kind", "stands_for", "method", "mother", "father", "generation", "pedigree", "group", "tester", "check"),
    *("units_to_silk", "units_to_shed", "units_to_black_layer", "lots", "free_kernels", "verdict"),
    *("derived_from", "derived_plant", "derived_generation"),
)


def lines(
    text: Annotated[str, typer.Option("--text", help="Part of the name, pedigree or remark.")] = "",
    group: Annotated[str, typer.Option("--group", help="Only this heterotic group.")] = "",
    kind: Annotated[str, typer.Option("--kind", help="Only line, hybrid, tester or check.")] = "",
    station: StationCode = "",
    today: Today = "",
    out: Out = "",
    as_json: AsJson = False,
) -> None:
    """The lines and hybrids in the books, with the seed there is of each."""
    if kind not in ("", *KINDS):
        raise typer.BadParameter(f"{kind!r} is not one of {', '.join(KINDS)}.")
    on = open_books(station, today)
    from firstsilk.work.lineage.lines import list_lines

    first = list_lines(on, text, group, kind)
    pages = [first, *(list_lines(on, text, group, kind, page) for page in range(2, first.n_pages + 1))]
    rows = [
        [
            *(one.name, one.kind, one.stands_for, one.method, one.mother, one.father, one.generation, one.pedigree),
            *(one.group, one.is_tester, one.is_check, one.units_to_silk, one.units_to_shed),
            *(one.units_to_black_layer, one.n_lots),
            *(one.free_kernels, one.verdict),
            *((one.derived.line, one.derived.plant, one.derived.generation) if one.derived else ("", "", "")),
        ]
        for page in pages
        for one in page.lines
    ]
    give_result(LINE_COLUMNS, rows, out, as_json, {"basis": first.basis.as_text()})
    if not as_json:
        say(first.basis.as_text())


def line(
    name: Annotated[str, typer.Argument(help="The line or hybrid, as it is called in the books.")],
    station: StationCode = "",
    today: Today = "",
    as_json: AsJson = False,
) -> None:
    """The history of one line: from whom, where grown, with which results, what is left of it.

    The newest notes are shown; --json gives all of them, and every row, lot, trial, estimate and verdict.
    """
    on = open_books(station, today)
    from firstsilk.work.lineage.line import read_line
    from firstsilk.work.lineage.noted import list_line_notes

    told = read_line(on, name)
    if as_json:
        from dataclasses import asdict

        every = [asdict(one) for one in list_line_notes(on, name, size=0).notes]
        more = {"stands_for": told.facts.stands_for_text, "basis": told.basis.as_text()}
        give_json({**asdict(told), "notes": every, **more})
        return
    for text in [*_tell(told), *_tell_notes(list_line_notes(on, name)), "", told.basis.as_text()]:
        print(text)


def _tell(told: LinePage) -> list[str]:
    facts = told.facts
    marks = [word for word, is_so in (("tester", facts.is_tester), ("check", facts.is_check)) if is_so]
    about = ", ".join(one for one in (facts.kind, facts.generation, facts.group, *marks) if one)
    said = [f"{facts.name}: {about}; stands for {facts.stands_for_text}."]
    if facts.merged_into:
        said.append(f"Found to be one line with {facts.merged_into}, whose page tells both histories.")
    if told.merged:
        said.append(f"Stands for {', '.join(one.gone for one in told.merged)} too.")
    if told.names:
        said.append(f"Also called {', '.join(one.name for one in told.names)}.")
    if facts.pedigree:
        shares = ", ".join(f"{name} {100 * share:.4g} %" for name, share in told.shares)
        said.append(f"Pedigree {facts.pedigree}" + (f" ({shares})." if shares else "."))
    if told.inbreeding is not None:
        said.append(f"Inbreeding {told.inbreeding:.4g}.")
    if facts.units_to_silk is not None:
        said.append(f"{facts.units_to_silk:,.0f} {told.scale} from sowing to silk.")
    said += ["", "Comes from", *_tell_tree(told.tree, 1)]
    said += _part("Closest kin with seed", [f"{one.name}  {one.coancestry:.4f}" for one in told.kin])
    seed = [
        f"{lot.name}  {lot.free:,} free of {lot.kernels:,}  {lot.place}".rstrip() + _mark(lot.record)
        for lot in told.lots
    ]
    said += _part("Seed on hand", seed)
    said += _part("Estimates", _tell_estimates(told))
    events = [f"{one.day or one.year or '':<10}  {one.text}{_mark(one.record)}" for one in told.timeline]
    return [*said, *_part("What happened", events)]


def _tell_notes(found: LineNotes) -> list[str]:
    told = [
        f"{one.taken_on}  {one.about}: {one.kind.replace('_', ' ')} {one.detail.replace('_', ' ')} {one.value}".rstrip()
        + f"  ({one.name}{'' if one.fate == 'stands' else f', {one.fate}'})"
        + _mark(one.record)
        for one in found.notes
    ]
    many = f"Notes, the newest {len(told)} of {found.n_found:,}" if found.n_pages > 1 else "Notes"
    return _part(many, told)


def _mark(record: str) -> str:
    """The record something was written for, where that was merged into the line."""
    return f" [{record}]" if record else ""


def _part(title: str, lines: list[str]) -> list[str]:
    return ["", title, *(f"  {one}" for one in lines)] if lines else ["", f"{title}: nothing in the books"]


def _tell_tree(one: Ancestor, depth: int) -> list[str]:
    more = " (more behind)" if one.is_cut else ""
    said = [f"{'  ' * depth}{one.name}  {one.how}{more}"]
    for parent in (one.female, one.male):
        said += _tell_tree(parent, depth + 1) if parent else []
    return said


def _tell_estimates(told: LinePage) -> list[str]:
    said = []
    for one in told.estimates:
        error = f" ± {one.se:.4g}" if one.se is not None else ""
        rests = f"{one.n_plots} plots, {one.n_sites} sites"
        said.append(f"{one.entry}  {one.trait} {one.kind} {one.value:,.5g}{error}  ({rests})")
    return said
