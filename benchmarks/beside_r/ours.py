"""How long does our engine take for one case? ``python -m beside_r.ours CASE FOLDER`` prints key=value lines.

A process fits a small set of the same kind first, so that compiled code is loaded, then the records that count. The
seconds are those of `fit_mixed_model` whole; `engine_seconds` leave out the reading of columns into classes and numbers
and the telling of all effects with their errors, as a fit in R takes its records read and tells no errors of effects
unasked.
"""

from __future__ import annotations

import importlib
import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import resource
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

import firstsilk  # noqa: F401 - before numpy, so that it asks for one thread
from firstsilk.answers import InputRefused
from firstsilk.science.analysis.mixed_models import fit_mixed_model

from .blas import name_our_blas
from .cases import NUMBERS, find_case
from .simulating import read_records

ANALYSIS = "firstsilk.science.analysis"
# Where columns are read, where effects are told, and where equations are factored anew.
READING = (("mixed_models", "arrange_records"),)
TELLING = (("mixed_models", "_tell"), ("large_models", "tell_large"))
SOLVING = (("reml", "solve_equations"), ("sparse_reml", "solve_large"))


class Watch:
    """Counts calls of some functions and the time inside them."""

    def __init__(self, names: tuple[tuple[str, str], ...]) -> None:
        self.calls, self.clock, self.processor, self.found = 0, 0.0, 0.0, False
        for module_name, name in names:
            module = importlib.import_module(f"{ANALYSIS}.{module_name}")
            if hasattr(module, name):
                self.found = True
                self._wrap(module, name)

    def _wrap(self, module: ModuleType, name: str) -> None:
        work: Callable[..., object] = getattr(module, name)

        def timed(*given: object, **named: object) -> object:
            begun, busy = time.perf_counter(), time.process_time()
            try:
                return work(*given, **named)
            finally:
                self.calls += 1
                self.clock += time.perf_counter() - begun
                self.processor += time.process_time() - busy

        setattr(module, name, timed)

    def restart(self) -> None:
        """Count from 0."""
        self.calls, self.clock, self.processor = 0, 0.0, 0.0


def peak_mb() -> float:
    """Largest resident memory of this process, of it alone where the system can say."""
    status = Path("/proc/self/status")
    if status.exists():
        line = next(line for line in status.read_text().splitlines() if line.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measure(name: str, folder: Path) -> dict[str, object]:
    """Fit the small records, then those that count; what was measured of the second fit."""
    case = find_case(name)
    reading, telling, solving = Watch(READING), Watch(TELLING), Watch(SOLVING)
    begun = time.perf_counter()
    fit_mixed_model(read_records(folder / "small.csv", NUMBERS), case.model())
    first = time.perf_counter() - begun
    records, model = read_records(folder / "records.csv", NUMBERS), case.model()
    for watch in (reading, telling, solving):
        watch.restart()
    begun, busy = time.perf_counter(), time.process_time()
    fit = fit_mixed_model(records, model)
    seconds, processor = time.perf_counter() - begun, time.process_time() - busy
    told: dict[str, object] = {"seconds": seconds, "cpu_seconds": processor, "first_seconds": first}
    if reading.found and telling.found:
        told["engine_seconds"] = seconds - reading.clock - telling.clock
        told["engine_cpu_seconds"] = processor - reading.processor - telling.processor
    told["evaluations"] = solving.calls or fit.iterations + 1
    told["criterion"] = repr(-2.0 * fit.reml_log_likelihood)
    told["converged"] = fit.converged
    told["peak_mb"] = peak_mb()
    for line in fit.variances:
        told[f"variance {line.term} {line.level}".strip()] = repr(line.value)
    told["blas"] = name_our_blas()
    return told


def main() -> None:
    """Say what was measured, or that it cannot be fitted yet."""
    try:
        told = measure(sys.argv[1], Path(sys.argv[2]))
    except InputRefused as no:
        if getattr(getattr(no, "refusal", None), "code", "") == "not_built":
            print("not_built=1")
            return
        raise
    for key, value in told.items():
        print(f"{key}={value}")


if __name__ == "__main__":
    main()
