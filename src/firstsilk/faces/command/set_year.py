"""How are causes of poor set, and the work of one person, asked for from the command line?"""

from __future__ import annotations

from typing import Annotated

import typer

from firstsilk.faces.command.giving import AsJson, Out, give_result, say
from firstsilk.faces.command.nursery_year import Season
from firstsilk.faces.command.station import StationCode, Today, open_books


def set_causes(
    season: Season = "",
    out: Out = "",
    as_json: AsJson = False,
    station: StationCode = "",
    today: Today = "",
) -> None:
    """What went with good and poor seed set: hour, dry air, silk's age, line, male, worker, day, ranked."""
    on = open_books(station, today)
    from firstsilk.work.seed.set_causes import NOT_CONSIDERED, WHY_ROOT, read_set_causes

    found = read_set_causes(on, season)
    for line in (*found.sentences, WHY_ROOT, f"Not considered: {NOT_CONSIDERED}.", found.basis.as_text()):
        say(line)
    columns = ("rank", "cause", "clear", "says", "spread_root", "low", "high")
    rows = [
        (rank, one.name, one.is_clear, one.says, round(one.spread, 4), round(one.low, 4), round(one.high, 4))
        for rank, one in enumerate(found.causes, 1)
    ]
    more = {"season": found.season, "measure": found.model.measure if found.model else None, "why_not": found.why_not}
    give_result(columns, rows, out, as_json, more)


def work_quality(
    worker: Annotated[str, typer.Argument(help="One person's code, as W07.")],
    season: Season = "",
    station: StationCode = "",
    today: Today = "",
) -> None:
    """How the work of one person goes beside what is expected; for breeder and crew leaders, and in no file."""
    on = open_books(station, today)
    from firstsilk.work.flowering.work_quality import read_work_quality

    found = read_work_quality(on, season, worker.upper())
    for one in found.cards:
        print(f"{one.worker}: {one.title}. {one.pollinations:,} pollinations noted.")
        for line in (*one.says, *(f"Help with {hand}." for hand in one.hands)):
            print(line)
    say(found.basis.as_text())
