"""How do the invented station's trials go from a list of hybrids to weighed plots?"""

from __future__ import annotations

from firstsilk.answers import InputRefused
from firstsilk.faces.command.demo.wishes import list_all_lines
from firstsilk.invented.trials import TrialPlot
from firstsilk.invented.world import World, play_plots
from firstsilk.work.analysis.reading import read_analysis
from firstsilk.work.occasion import Occasion, stay_silent
from firstsilk.work.seed.lots import list_lots
from firstsilk.work.trials.lay_out import design_trial
from firstsilk.work.trials.packets import pack_trial
from firstsilk.work.trials.plot_data import PlotReading, record_plot_data
from firstsilk.work.trials.reading import read_trial

REPS = 2
PLOT_AREA_M2 = 8.06
KERNELS_PER_PLOT = 76
PLOTS_IN_A_FIELD_ROW = 10
MOST_ENTRIES = 36


def lay_trials(on: Occasion, world: World, year: int) -> dict[str, int]:
    """Lay out one trial a site of the hybrids that have seed: new ones first, then the best of the tried ones.

    Returns
    -------
    dict
        Plots by trial name.
    """
    entries, checks = _choose_entries(on, len(world.sites))
    made = {}
    for number, site in enumerate(world.sites):
        name = f"EH{year % 100}-{site.code}"
        page = design_trial(
            on,
            name,
            f"early hybrids {year}",
            site.code,
            year,
            entries,
            checks,
            REPS,
            PLOT_AREA_M2,
            KERNELS_PER_PLOT,
            year * 10 + number,
            stay_silent,
            PLOTS_IN_A_FIELD_ROW,
        )
        pack_trial(on, name)
        made[name] = len(page.plots)
    return made


def _choose_entries(on: Occasion, n_sites: int) -> tuple[list[str], list[str]]:
    need = KERNELS_PER_PLOT * REPS * n_sites
    free: dict[str, int] = {}
    for lot in list_lots(on, size=100_000).lots:
        free[lot.stock.line] = free.get(lot.stock.line, 0) + max(
            0, lot.stock.free // KERNELS_PER_PLOT * KERNELS_PER_PLOT
        )
    hybrids = [row for row in list_all_lines(on, "hybrid") if free.get(row.name, 0) >= need]
    checks = [row.name for row in hybrids if row.is_check]
    worth = {one.line: one.value for one in read_analysis(on).of_kind("blup")}
    others = [row.name for row in hybrids if not row.is_check]
    others.sort(key=lambda name: (name in worth, -worth.get(name, 0.0), name))
    return others[:MOST_ENTRIES], checks


def weigh_trials(on: Occasion, world: World, year: int, trials: dict[str, int]) -> None:
    """Combine every trial of the year: the plots' weights and moistures come from the simulator."""
    for name in trials:
        page = read_trial(on, name)
        plots = [
            TrialPlot(name, page.site, year, one.number, one.rep, one.block, one.field_row, one.field_col, one.entry)
            for one in page.plots
        ]
        readings = [
            PlotReading(
                one.plot,
                one.weight_kg,
                one.moisture_pct,
                one.test_weight_kg_hl,
                one.stand,
                one.root_lodged,
                one.stalk_lodged,
                one.rejected,
            )
            for one in play_plots(world, plots)
        ]
        try:
            record_plot_data(on, name, readings, f"combine {name}")
        except InputRefused as error:
            raise InputRefused(f"trial {name}: {error}", error.findings, error.refusal) from error
