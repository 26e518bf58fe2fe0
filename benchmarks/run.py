"""How fast are the parts that matter, on this machine? ``make bench`` prints a table for docs/figures.md.

Each figure is the best of three runs in one process, one BLAS thread; invented data from fixed seeds. Mixed models are
timed beside R, each run in a process of its own, where there is an Rscript; ``--large`` takes the large ones as well.
"""

from __future__ import annotations

import os
import platform
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime
from itertools import chain

from beside_r.telling import tell_beside_r
from forecast import tell_forecast
from heat import tell_heat
from nick import tell_nick
from pedigree import tell_pedigree

import firstsilk  # noqa: F401 - first of all, so that it asks for one thread before numpy is loaded

os.environ.setdefault("FIRSTSILK_HOME", tempfile.mkdtemp(prefix="firstsilk-bench-"))
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "firstsilk.station.settings")


def best_s(work: Callable[[], object], runs: int = 3) -> float:
    """Seconds of the quickest of some runs."""
    took = []
    for _ in range(runs):
        began = time.perf_counter()
        work()
        took.append(time.perf_counter() - began)
    return min(took)


def time_help() -> float:
    return best_s(
        lambda: subprocess.run([sys.executable, "-m", "firstsilk", "--help"], check=True, capture_output=True)
    )


def time_heat() -> float:
    import numpy as np

    from firstsilk.science.climate.heat import heat_units

    dice = np.random.default_rng(1)
    tmin = dice.normal(8, 5, size=(40 * 150, 2000))
    return best_s(lambda: heat_units(tmin, tmin + 12.0, "chu"))


def time_kin() -> float:
    from firstsilk.science.lineage.kinship import find_coancestry
    from firstsilk.science.lineage.members import Member

    members = [Member(f"L{at}", "founder_inbred") for at in range(40)]
    members += [Member(f"L{at}", "cross", f"L{at - 40}", f"L{at - 17}") for at in range(40, 2000)]
    return best_s(lambda: find_coancestry(members))


def time_fit() -> float:
    import numpy as np

    from firstsilk.science.analysis.mixed_models import fit_mixed_model
    from firstsilk.science.analysis.models import Model, RandomTerm

    dice = np.random.default_rng(1)
    line, site = (each.ravel() for each in np.meshgrid(np.arange(300), np.arange(4), indexing="ij"))
    response = dice.normal(size=300)[line] + dice.normal(size=4)[site] + dice.normal(size=line.size)
    data = {"y": response, "line": [f"l{at}" for at in line], "site": [f"s{at}" for at in site]}
    model = Model(response="y", fixed=(("site",),), random=(RandomTerm(columns=("line",)),))
    return best_s(lambda: fit_mixed_model(data, model))


def time_tags() -> float:
    from firstsilk.faces.paper.tags import RowTag, render_row_tags
    from firstsilk.science.seed.tags import tag_for_serial

    tags = [
        RowTag(tag_for_serial(at), at, "2031", 1 + at // 20, 1 + at % 20, f"EK{at}", "", "SELF 4 ears")
        for at in range(1, 1001)
    ]
    return best_s(lambda: render_row_tags(tags), runs=1)


def time_demand(rows: int = 20_000) -> float:
    import numpy as np

    from firstsilk.science.flowering.demand import spread_demand

    dice = np.random.default_rng(1)
    silk, wanted = dice.normal(20, 6, (rows, 200)), dice.integers(0, 20, rows)
    done = np.where(dice.random(rows) < 0.3, np.minimum(wanted, 5), 0)
    return best_s(lambda: spread_demand(silk, wanted, 0, 60, done=done))


def time_states() -> float:
    from firstsilk.invented.crew import make_crew, write_notes
    from firstsilk.invented.nursery import FieldRow
    from firstsilk.invented.playing import play_season
    from firstsilk.invented.season import sow_field
    from firstsilk.invented.world import build_world
    from firstsilk.science.flowering.rows import read_row_states

    world = build_world(1)
    lines = [line.name for line in world.book.inbreds()]
    rows = [FieldRow(f"ROW{at:05d}", lines[at % len(lines)], date(2031, 5, 14)) for at in range(200)]
    field, crew = sow_field(world, rows), make_crew(1)
    notes = [note for _, drafts in play_season(field) for note in write_notes(crew, drafts)]
    print(f"(states are read from {len(notes):,} notes on {len(rows)} rows)", file=sys.stderr)
    return best_s(lambda: read_row_states(notes))


FIGURES: tuple[tuple[str, Callable[[], float]], ...] = (
    ("`firstsilk --help`, a new process", time_help),
    ("heat units (chu), 12 million row-days", time_heat),
    ("coancestry of 2,000 members, all pairs", time_kin),
    ("REML, 300 lines x 4 sites, 1,200 plots", time_fit),
    ("1,000 row tags as PDF, print check included", time_tags),
    ("row states from a season's notes on 200 rows", time_states),
    ("demand by day of 20,000 rows x 200 draws x 60 days", time_demand),
    ("the same of 200,000 rows", lambda: time_demand(200_000)),
)


def main() -> None:
    """Print the table."""
    print(
        f"{datetime.now(UTC).date()}, {platform.system()} {platform.machine()}, {os.cpu_count()} cores, "
        f"Python {platform.python_version()}\n"
    )
    print("| what | seconds, or as said |\n|---|---|")
    for says, work in FIGURES:
        print(f"| {says} | {work():.3f} |", flush=True)
    beside_r = tell_beside_r(large="--large" in sys.argv)
    for says, told in chain(tell_heat(), tell_nick(), tell_pedigree(), tell_forecast(), beside_r):
        print(f"| {says} | {told} |", flush=True)


if __name__ == "__main__":
    main()
