"""How do the ears of the invented nursery become lots: picked, crated, dried, shelled at the bench or by the row?"""

from __future__ import annotations

from datetime import date, timedelta

from firstsilk.faces.command.demo.run import Run, list_days, send
from firstsilk.invented.harvesting import crate_ears, measure_crate, pick_ears, shell_ears
from firstsilk.invented.leader import count_hours
from firstsilk.invented.season import CrewTask, answer_day_list
from firstsilk.work.flowering.day import read_day_list
from firstsilk.work.seed.crates import give_crate_tags, list_crates, note_moisture
from firstsilk.work.seed.shelling import shell_ears as shell_at_bench

SHELL_AFTER_DAYS, MEASURE_AFTER_DAYS = 12, 5
"""Days after picking on which ears are shelled, and before which nobody measures a crate."""
CRATES, ROWS_A_CRATE = 20, 6
BENCH_EVERY = 4
"""Of the rows whose ears have numbers every fourth is shelled ear by ear at the bench; the others as one heap."""
SAMPLE, KERNEL_MG = 100, 250.0
"""Kernels weighed at most to know one, and what one weighs [mg]. Ours, no source."""


def harvest_nursery(run: Run) -> None:
    """Every fourth day of autumn pick what the list asks for, measure the crates, and shell what is dry."""
    run.crates = list(give_crate_tags(run.at(run.day(9, 15)), CRATES))
    for day in list_days(run.day(9, 20), run.day(10, 22), 4):
        run.bring_weather(day - timedelta(days=1))
        _pick(run, day)
        _measure(run, day)
        _shell(run, day, _find_ready(run, day))
    last = run.day(10, 24)
    _shell(run, last, _find_ready(run, last + timedelta(days=30)))


def _pick(run: Run, day: date) -> None:
    on = run.at(day)
    listed = read_day_list(on, run.season)
    picked = pick_ears(run.field, [task.tag for task in listed.tasks if task.do == "pick"], day)
    rows = [tag for tag, done in run.field.progress.items() if done.picked_on == day and done.picked]
    needed = -(-len(rows) // ROWS_A_CRATE)
    if needed > len(run.crates):
        run.crates += give_crate_tags(on, needed - len(run.crates))
    filled, run.crates = run.crates[:needed], run.crates[needed:]
    crated = crate_ears(run.field, {tag: filled[at // ROWS_A_CRATE] for at, tag in enumerate(rows)}, day)
    drafts = [*picked, *crated]
    send(run, on, [*drafts, *count_hours(drafts, day)])


def _measure(run: Run, day: date) -> None:
    """The moisture of each crate that holds ears and is not dry yet, at the end of the day."""
    on, seed = run.at(day, 19, "technician"), run.year.world.seed
    for crate in list_crates(on, run.season).crates:
        days = (day - max(load.on for load in crate.loads)).days
        if crate.state in ("wet", "measure") and days >= MEASURE_AFTER_DAYS:
            note_moisture(on, run.season, crate.code, measure_crate(seed, crate.code, days), worker="W02")


def _find_ready(run: Run, day: date) -> list[str]:
    return [
        tag
        for tag, done in run.field.progress.items()
        if done.picked and done.kernels is None and done.picked_on and (day - done.picked_on).days >= SHELL_AFTER_DAYS
    ]


def _shell(run: Run, day: date, tags: list[str]) -> None:
    """Rows with numbered ears at the bench, a part of them; the others counted by the row and noted by phone."""
    numbered = [tag for tag in run.field.rows if run.field.progress[tag].codes]
    bench = set(numbered[::BENCH_EVERY])
    drafts = answer_day_list(run.field, [CrewTask(tag, "shell") for tag in tags if tag not in bench], day)
    if drafts:
        send(run, run.at(day), [*drafts, *count_hours(drafts, day)])
    for tag in tags:
        if tag in bench:
            _shell_row(run, tag, day)


def _shell_row(run: Run, tag: str, day: date) -> None:
    """Each numbered ear by itself, counted; the others of the row together, by weight."""
    on = run.at(day, 19, "technician")
    by_code, loose = shell_ears(run.field, tag, day)
    for code, kernels in by_code.items():
        run.year.bench.append(shell_at_bench(on, run.season, [code], kernels, worker="W01"))
    if loose:
        sample = min(SAMPLE, loose)
        net_g, sample_g = round(loose * KERNEL_MG / 1000, 2), round(sample * KERNEL_MG / 1000, 2)
        shelled = shell_at_bench(on, run.season, [tag], None, net_g, (sample_g,), sample, worker="W01")
        run.year.bench.append(shelled)
