"""How are verdicts proposed and decided, and the next season planned, from the command line?"""

from __future__ import annotations

from dataclasses import asdict, astuple, fields
from typing import TYPE_CHECKING, Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.station import StationCode, Today, open_books, year_option
from firstsilk.faces.files.tables import read_table

if TYPE_CHECKING:
    from firstsilk.work.choice.facts import Decision

Year = Annotated[
    int | None,
    year_option("Last trial year that counts; this year if absent."),
]


def choose(
    year: Year = None,
    go_on: Annotated[int, typer.Option("--go-on", min=0, help="How many go on.")] = 10,
    wait: Annotated[int, typer.Option("--wait", min=0, help="How many wait.")] = 20,
    of: Annotated[str, typer.Option("--of", help="line or hybrid; lines if they have estimates.")] = "",
    least_erect: Annotated[float, typer.Option("--least-erect", help="Share that must stand.")] = 0.85,
    moisture_price: Annotated[float, typer.Option("--moisture-price", help="kg/ha for one point of moisture.")] = 100.0,
    accept: Annotated[bool, typer.Option("--accept", help="Write the proposed verdicts down.")] = False,
    verdicts: Annotated[str, typer.Option("--verdicts", help="Table to write down: line, verdict[, reason].")] = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Propose verdicts with reasons; write them down with --accept, or your own with --verdicts."""
    if accept and verdicts:
        raise typer.BadParameter("--accept writes the proposal, --verdicts your own: give one of them.")
    own = _read_decisions(verdicts) if verdicts else []
    on = open_books(station, today)
    from firstsilk.work.choice.decide import decide
    from firstsilk.work.choice.facts import Candidate, ChoiceSettings, Decision
    from firstsilk.work.choice.propose import propose_verdicts

    settings = ChoiceSettings(of, go_on, wait, least_erect, moisture_price)
    chosen = on.today.year if year is None else year
    page = propose_verdicts(on, chosen, settings)
    decisions = [Decision(one.line, one.verdict) for one in page.candidates] if accept else own
    if decisions:
        done = decide(on, chosen, decisions, settings)
        say(f"{done.n_written} verdicts written. {done.basis.as_text()}")
        page = propose_verdicts(on, chosen, settings)
    say(page.basis.as_text())
    say(f"Not considered: {'; '.join(page.not_considered)}.")
    columns = [one.name for one in fields(Candidate)]
    more = {
        "year": page.year,
        "of": page.of,
        "settings": asdict(page.settings),
        "checks": page.checks,
        "cut_kg_ha": page.cut_kg_ha,
        "not_considered": page.not_considered,
        "basis": page.basis.as_text(),
    }
    give_result(columns, [astuple(one) for one in page.candidates], out, as_json, more)


def _read_decisions(path: str) -> list[Decision]:
    from firstsilk.work.choice.facts import Decision

    table = read_table(path)
    table.need("line", "verdict")
    table.need_rows()
    return [Decision(row.text("line"), row.text("verdict"), row.text("reason"), row.place()) for row in table.rows]


def next_plan(
    year: Year = None,
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """Draft next season's selfs, crosses and testcrosses from the verdicts; asking twice does not double them."""
    on = open_books(station, today)
    from firstsilk.work.choice.next_season import plan_next_season
    from firstsilk.work.nursery.plan import TargetFacts

    plan = plan_next_season(on, on.today.year if year is None else year)
    say(f"Season {plan.season}: {len(plan.targets)} targets, {len(plan.new_numbers)} new. {plan.basis.as_text()}")
    say(f"Not considered: {'; '.join(plan.not_considered)}.")
    columns = [one.name for one in fields(TargetFacts) if one.name != "rows"]
    rows = [[getattr(one, name) for name in columns] for one in plan.targets]
    more = {"season": plan.season, "new_numbers": plan.new_numbers, "basis": plan.basis.as_text()}
    give_result(columns, rows, out, as_json, more)
