"""Are planted causes of poor set found within their intervals, as lme4 finds them, and is too little told as that?"""

from __future__ import annotations

import csv
import math
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.seed.set_causes import SetRecord, fit_set_causes, give_back

TRUTH = {"hour": -0.35, "deficit_kpa": -1.2, "silk_days": -0.6}
SPREADS = {"line": 1.6, "male": 0.9, "worker": 0.7, "day": 0.8}
LEVELS = {"line": 40, "male": 12, "worker": 9, "day": 20}
MIDDLE, REST = 12.0, 6.0
RSCRIPT = shutil.which("Rscript")


def plant(n=500, seed=5, **spreads):
    """Rows with planted slopes and spreads on the root of kernels an attempt."""
    dice = np.random.default_rng(seed)
    spreads = SPREADS | spreads
    effects = {name: dice.normal(0, spreads[name], LEVELS[name]) for name in SPREADS}
    dry = dice.normal(1.4, 0.4, LEVELS["day"])
    records = []
    for _ in range(n):
        at = {name: int(dice.integers(LEVELS[name])) for name in SPREADS}
        hour, silk = dice.uniform(9, 15), float(dice.integers(0, 6))
        deficit = max(0.1, dry[at["day"]] + 0.15 * (hour - 12) + dice.normal(0, 0.1))
        tries = int(dice.integers(3, 25))
        root = MIDDLE + TRUTH["hour"] * (hour - 12) + TRUTH["deficit_kpa"] * (deficit - 1.4)
        root += TRUTH["silk_days"] * (silk - 2.5) + sum(effects[name][at[name]] for name in SPREADS)
        root += dice.normal(0, REST / math.sqrt(tries))
        names = {name: f"{name}{at[name]:02d}" for name in SPREADS}
        kernels = round(tries * max(0.0, root) ** 2)
        records.append(
            SetRecord(
                **names, hour=hour, deficit_kpa=deficit, silk_days=silk, attempts=tries, good=tries, kernels=kernels
            )
        )
    return records


def test_planted_slopes_and_spreads_lie_in_their_intervals():
    """Three seeds; of 21 intervals of 95 % at most three may miss (four or more: once in fifty times)."""
    missed = []
    for seed in (1, 2, 3):
        found = {one.name: one for one in fit_set_causes(plant(seed=seed)).causes}
        for name, slope in TRUTH.items():
            if abs(found[name].slope - slope) > 1.96 * found[name].slope_se:
                missed.append((seed, name))
            assert abs(found[name].slope - slope) < 4 * found[name].slope_se
        missed += [(seed, name) for name, sd in SPREADS.items() if not found[name].low <= sd <= found[name].high]
    assert len(missed) <= 3, missed


def test_a_cause_that_is_not_there_ranks_low_and_its_interval_holds_none():
    found = fit_set_causes(plant(worker=0.0))
    worker = next(one for one in found.causes if one.name == "worker")
    assert worker.low < 0.25
    assert found.causes[0].name == "line"
    assert found.causes.index(worker) >= 4


@pytest.mark.skipif(RSCRIPT is None, reason="there is no Rscript here")
def test_lme4_finds_the_same(tmp_path):
    """The same model by lmer (lme4, Bates et al. 2015 J Stat Softw 67:1), side by side: REML to four figures."""
    records = plant(300)
    table = tmp_path / "set.csv"
    with table.open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["root", "n", "hour", "deficit", "silk", "line", "male", "worker", "day"])
        for one in records:
            numbers = (math.sqrt(one.kernels / one.attempts), one.attempts, one.hour, one.deficit_kpa, one.silk_days)
            out.writerow([*(repr(float(number)) for number in numbers), one.line, one.male, one.worker, one.day])
    script = tmp_path / "set.R"
    script.write_text(
        "if (!suppressMessages(require(lme4, quietly=TRUE))) quit(status=3)\n"
        f"d <- read.csv('{table}')\n"
        "m <- lmer(root ~ hour + deficit + silk + (1|line) + (1|male) + (1|worker) + (1|day), d, weights=n,"
        " control=lmerControl(optCtrl=list(xtol_abs=1e-10, ftol_abs=1e-12)))\n"
        "cat(fixef(m)[2:4], sqrt(diag(vcov(m)))[2:4], as.data.frame(VarCorr(m))$sdcor, sep='\\n')\n"
        "cat('\\n', rownames(ranef(m)$worker), '\\n', ranef(m)$worker[,1], '\\n')\n"
    )
    done = subprocess.run([RSCRIPT, "--vanilla", str(script)], capture_output=True, text=True, timeout=300, check=False)
    if done.returncode == 3:
        pytest.skip("lme4 is not here")
    assert done.returncode == 0, done.stderr
    told = done.stdout.split()
    numbers = [float(one) for one in told[:11]]
    found = fit_set_causes(records)
    by_name = {one.name: one for one in found.causes}
    ours = [by_name[name].slope for name in TRUTH] + [by_name[name].slope_se for name in TRUTH]
    assert ours == pytest.approx(numbers[:6], rel=1e-4)
    spreads = dict(zip(("line", "day", "male", "worker"), sorted(numbers[6:10], reverse=True), strict=True))
    assert sorted(one.spread for one in found.causes if not one.is_number) == pytest.approx(
        sorted(spreads.values()), rel=1e-3
    )
    workers = told[11:20]
    theirs = dict(zip(workers, map(float, told[20:29]), strict=True))
    assert {one.name: one.value for one in found.levels["worker"]} == pytest.approx(theirs, rel=2e-3, abs=1e-4)


def test_rows_that_gave_nothing_count_and_ears_stand_in_where_kernels_are_not_counted():
    rows = plant(120)
    nothing = [replace(one, good=0, kernels=None) for one in rows[:20]]
    with_nothing = fit_set_causes([*nothing, *rows[20:]])
    assert with_nothing.measure == "kernels"
    assert with_nothing.n == 120
    assert with_nothing.middle < fit_set_causes(rows).middle
    uncounted = [replace(one, kernels=None, good=one.attempts // 2) for one in rows]
    ears = fit_set_causes(uncounted)
    assert ears.measure == "ears"
    assert 0.3 < ears.middle < 0.5


def test_what_cannot_be_asked_is_told_with_why():
    rows = plant(60)
    changed = [replace(one, male=one.line, worker="W01", deficit_kpa=math.nan) for one in rows]
    found = fit_set_causes(changed)
    assert dict(found.without) == {
        "deficit_kpa": "known of 0 of 60 rows",
        "male": "goes wholly with the line",
        "worker": "only 1 of them",
    }
    assert {one.name for one in found.causes} == {"hour", "silk_days", "line", "day"}
    locked = [replace(one, deficit_kpa=one.hour / 8) for one in rows]
    assert dict(fit_set_causes(locked).without)["deficit_kpa"] == "cannot be told from the hour (correlation 1.00)"
    dice = np.random.default_rng(1)
    near = [replace(one, deficit_kpa=one.hour / 8 + dice.normal(0, 0.09)) for one in rows]
    assert fit_set_causes(near).together[0][:2] == ("hour", "deficit_kpa")


def test_too_few_rows_and_rows_all_alike_are_refused():
    with pytest.raises(InputRefused, match="12 rows tell what came"):
        fit_set_causes(plant(12))
    alike = [replace(one, kernels=100 * one.attempts) for one in plant(40)]
    with pytest.raises(InputRefused, match="nothing to explain"):
        fit_set_causes(alike)


def test_roots_go_back_to_kernels_and_shares():
    assert give_back(12.0, "kernels") == 144.0
    assert give_back(-1.0, "kernels") == 0.0
    assert give_back(math.asin(math.sqrt(0.7)), "ears") == pytest.approx(0.7)
