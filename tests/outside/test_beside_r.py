"""Does the bench beside R time both on the same records, judge rightly, and say what it left out?"""

from __future__ import annotations

import importlib
import shutil
import stat
from pathlib import Path

import pytest
from benchmarks.beside_r.cases import CASES, Bar, Case, Peer, find_case
from benchmarks.beside_r.judging import compare_criterion, criterion_slack, judge
from benchmarks.beside_r.ours import ANALYSIS, READING, SOLVING, TELLING
from benchmarks.beside_r.pedigree import lay_programme, lay_related_year
from benchmarks.beside_r.running import Outcome, Programs, find_programs, run_case
from benchmarks.beside_r.simulating import lay_series, read_records, write_records
from benchmarks.beside_r.telling import choose_cases, tell_outcome

SMALLEST = find_case("S, one residual")
RSCRIPT = shutil.which("Rscript")


def outcome_of(ours: list[float], theirs: list[float], criteria: tuple[str, str], bars: tuple[Bar, ...]) -> Outcome:
    """An outcome as if these seconds had been taken; ours held 100 MB, theirs 200 MB."""
    case = Case("made up", "S", dict, dict, SMALLEST.model, bars, (Peer("theirs", "r/lme4.R"),))
    outcome = Outcome(case)
    outcome.ours = [{"seconds": str(one), "peak_mb": "100", "criterion": criteria[0]} for one in ours]
    outcome.peers["theirs"] = [{"seconds": str(one), "peak_mb": "200", "criterion": criteria[1]} for one in theirs]
    return outcome


def test_judge_when_times_are_given_then_medians_make_the_ratio() -> None:
    bars = (Bar("times", 3, 5, 15), Bar("memory", 2, 0.4, 0.3), Bar("seconds", 3, 1))
    outcome = outcome_of([1.0, 9.0, 2.0], [12.0, 11.0, 50.0], ("10.0", "10.0"), bars)
    times, memory, seconds = judge(outcome, {})
    assert (times.value, times.gate, times.target, times.stretch) == (6.0, True, True, False)
    assert "2.5 times short of it" in times.as_text()
    assert (memory.value, memory.gate, memory.target, memory.stretch) == (0.5, True, False, False)
    assert "MISSED" in memory.as_text()
    assert (seconds.value, seconds.gate, seconds.target, seconds.stretch) == (2.0, True, False, None)


def test_judge_when_a_bar_speaks_of_another_case_then_both_are_compared() -> None:
    other = outcome_of([2.0], [], ("1", "1"), ())
    outcome = outcome_of([3.0], [], ("1", "1"), (Bar("beside", 3, 2, 1.3, other="other"),))
    assert judge(outcome, {"other": other})[0].value == pytest.approx(1.5)
    assert judge(outcome, {}) == []


@pytest.mark.parametrize(("ours", "fine"), [("245610.9000020", True), ("245610.9000030", False), ("245000.0", True)])
def test_criterion_when_compared_then_no_worse_means_within_rounding(ours: str, fine: bool) -> None:
    outcome = outcome_of([1.0], [1.0], (ours, "245610.9"), ())
    compared = compare_criterion(outcome)
    assert compared is not None
    assert compared[1] is fine
    assert criterion_slack(5.0) == 1e-6


def test_records_when_written_and_read_then_the_same(tmp_path: Path) -> None:
    data = lay_series(20, 2, 10)
    write_records(data, tmp_path / "records.csv")
    assert read_records(tmp_path / "records.csv", frozenset({"y"})) == data
    assert len(data["y"]) == 80
    assert len(set(data["block"])) == 8


def test_programme_when_laid_then_all_tested_lines_and_checks_have_a_member() -> None:
    members = [member[0] for member in lay_programme(300)[0]]
    assert len(members) == len(set(members))
    assert set(lay_related_year(300, 10)["line"]) <= set(members)


def test_cases_when_listed_then_each_name_once_and_every_script_is_there() -> None:
    names = [case.name for case in CASES]
    assert len(names) == len(set(names))
    folder = Path(__file__).parents[2] / "benchmarks" / "beside_r"
    assert all((folder / peer.script).exists() for case in CASES for peer in case.peers)
    assert {case.size for case in choose_cases("SM")} == {"S", "M"}


def test_bench_when_it_leaves_out_reading_and_telling_then_the_functions_named_are_there() -> None:
    for module, name in (*READING, *TELLING, *SOLVING):
        assert callable(getattr(importlib.import_module(f"{ANALYSIS}.{module}"), name)), name


def test_bench_when_there_is_no_r_then_ours_is_timed_and_the_rest_named_as_left_out() -> None:
    outcome = run_case(SMALLEST, Programs(None, None), runs=1)
    assert float(outcome.ours[0]["engine_seconds"]) < float(outcome.ours[0]["seconds"])
    assert outcome.ours[0]["converged"] == "True"
    assert not outcome.peers
    told = tell_outcome(outcome, {})
    assert "there is no Rscript here" in told
    assert "evaluations" in told


def test_bench_when_a_package_is_absent_then_it_is_left_out_with_the_reason(tmp_path: Path) -> None:
    script = tmp_path / "Rscript"
    script.write_text("#!/bin/sh\necho absent=lme4\nexit 3\n")
    script.chmod(script.stat().st_mode | stat.S_IXUSR)
    outcome = run_case(SMALLEST, Programs(str(script), None), runs=1)
    assert outcome.reasons == [f"{peer.name} was left out: lme4 is not installed" for peer in SMALLEST.peers]


@pytest.mark.skipif(RSCRIPT is None, reason="there is no Rscript here")
def test_bench_when_r_is_there_then_its_criterion_is_ours() -> None:
    outcome = run_case(SMALLEST, find_programs(), runs=1)
    if any("not installed" in reason for reason in outcome.reasons):
        pytest.skip(outcome.reasons[0])
    compared = compare_criterion(outcome)
    assert compared is not None
    assert compared[1], compared
    assert abs(compared[0]) < 1e-4
    assert "faster" in tell_outcome(outcome, {})
