"""What is said of each case: a line for ``make bench``, and all numbers for a file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from .cases import CASES, Case
from .judging import compare_criterion, judge, ratio_by_processor
from .running import Outcome, Programs, describe_beside, find_programs, run_case, run_cold

NAMES = {"times": "faster", "memory": "peak memory against it", "seconds": "seconds", "evaluations": "evaluations",
         "beside": "time against the same without"}  # fmt: skip


def choose_cases(sizes: Sequence[str], only: str = "") -> list[Case]:
    """The cases of some sizes whose name holds some words."""
    return [case for case in CASES if case.size in sizes and only in case.name]


def tell_outcome(outcome: Outcome, outcomes: dict[str, Outcome]) -> str:
    """One case in a sentence or two."""
    if outcome.not_built:
        return "not built yet"
    parts = [_tell_times(outcome)]
    for verdict in judge(outcome, outcomes):
        parts.append(f"{NAMES[verdict.bar.measure]}: {verdict.as_text()}")
    processor = ratio_by_processor(outcome)
    if processor is not None:
        parts.append(f"{processor:.3g}x by seconds of the processor")
    compared = compare_criterion(outcome)
    if compared is not None:
        worse, fine = compared
        parts.append(f"-2 REML log-likelihood {worse:+.1e} from the best peer's: {'no worse' if fine else 'WORSE'}")
    elif not outcome.case.same_model and outcome.peers:
        parts.append(_tell_variances(outcome))
    return "; ".join([*parts, *outcome.reasons])


def _tell_times(outcome: Outcome) -> str:
    seconds, engine = outcome.of_ours("seconds"), outcome.of_ours("engine_seconds")
    cpu, peak = outcome.of_ours("cpu_seconds"), outcome.of_ours("peak_mb")
    text = f"ours {seconds:.3g} s"
    if engine is not None:
        text += f" ({engine:.3g} s without reading columns and telling effects; {cpu:.3g} s of the processor)"
    text += f", {peak:.0f} MB"
    for name, runs in outcome.peers.items():
        took, busy = outcome.median(runs, "seconds"), outcome.median(runs, "cpu_seconds")
        held = outcome.median(runs, "peak_mb")
        text += f"; {name} {took:.3g} s ({busy:.3g} s of the processor)" + (f", {held:.0f} MB" if held else "")
    return text


def _tell_variances(outcome: Outcome) -> str:
    runs = next(iter(outcome.peers.values()))
    told = [
        f"{term} {float(outcome.ours[-1][f'variance {term}']):.4g} and {float(runs[-1][term]):.4g}"
        for term in ("residual", "line")
        if term in runs[-1] and f"variance {term}" in outcome.ours[-1]
    ]
    return "another basis, so variances beside theirs: " + ", ".join(told)


def tell_programs(outcomes: Sequence[Outcome]) -> str:
    """Which programs and which BLAS took part, on one thread each."""
    ours = next((run["blas"] for outcome in outcomes for run in outcome.ours), "")
    runs = [run for outcome in outcomes for all_runs in outcome.peers.values() for run in all_runs]
    theirs = sorted({run["program"] for run in runs if "program" in run})
    libraries = sorted({run["lapack"] for run in runs if "lapack" in run})
    version = next((run["r"] for run in runs if "r" in run), None)
    text = f"ours: {ours}"
    if version:
        text += f". {version} with " + "; ".join(f"{path} ({describe_beside(path)})" for path in libraries)
    return text + (f". Programs: {', '.join(theirs)}" if theirs else "")


def tell_beside_r(
    large: bool = False, runs: int = 3, programs: Programs | None = None, only: str = ""
) -> Iterator[tuple[str, str]]:
    """What was run and what came of it, case by case; then the cold start and what took part."""
    programs = programs or find_programs()
    outcomes: dict[str, Outcome] = {}
    for case in choose_cases("SML" if large else "SM", only):
        outcomes[case.name] = run_case(case, programs, runs)
        yield f"mixed model: {case.name}", tell_outcome(outcomes[case.name], outcomes)
    if not only:
        cold, warm = run_cold(CASES[0])
        yield (
            "mixed model: first fit on an empty cache of compiled code",
            (f"{cold:.1f} s (target 12, stretch 3), {warm:.1f} s in the next process; starting and importing included"),
        )
    yield f"mixed models: what took part, {runs} runs each in turn, medians", tell_programs(list(outcomes.values()))
