"""How long does it take to predict from many markers? `python benchmarks/markers.py [LINES MARKERS [THREADS]]`.

Invented doubled haploids of 40 founders, all tested. Seconds by the clock and of the processor for each part; the last
line is the peak of the memory. 5,000 lines, 50,000 markers and one thread unless told.
"""

from __future__ import annotations

import os
import sys

os.environ["OPENBLAS_NUM_THREADS"] = sys.argv[3] if len(sys.argv) > 3 else "1"

import resource
import time
from collections.abc import Callable
from typing import TypeVar

import numpy as np

from firstsilk.science.lineage.marker_relationship import find_marker_relationship
from firstsilk.science.lineage.markers import MarkerTable, judge_markers
from firstsilk.science.lineage.prediction import (
    find_marker_effects,
    fit_genomic_values,
    predict_left_out,
)
from firstsilk.science.lineage.variances import estimate_variances

Found = TypeVar("Found")


def lay_table(lines: int, markers: int) -> MarkerTable:
    """Doubled haploids of pairs of 40 founders, one crossing over in each of ten chromosomes."""
    dice = np.random.default_rng(1)
    founders = (2 * dice.integers(0, 2, (40, markers))).astype(np.int8)
    doses = np.empty((lines, markers), dtype=np.int8)
    long = markers // 10
    for at in range(lines):
        pair = dice.choice(40, 2, replace=False)
        for start in range(0, markers, long):
            cut = start + int(dice.integers(0, long))
            one, other = dice.permutation(pair)
            doses[at, start:cut] = founders[one, start:cut]
            doses[at, cut : start + long] = founders[other, cut : start + long]
    return MarkerTable(tuple(f"L{at}" for at in range(lines)), tuple(f"m{at}" for at in range(markers)), doses)


def time_part(name: str, work: Callable[[], Found]) -> Found:
    clock, processor = time.perf_counter(), time.process_time()
    found = work()
    print(f"{name}: {time.perf_counter() - clock:.1f} s, processor {time.process_time() - processor:.1f} s", flush=True)
    return found


def main(lines: int, markers: int) -> None:
    table = lay_table(lines, markers)
    dice = np.random.default_rng(2)
    worth = table.doses[:, :: markers // 200].astype(np.float64) @ dice.normal(
        0, 1, len(range(0, markers, markers // 200))
    )
    response = worth / worth.std() + dice.normal(0, 1, lines)
    began = time.perf_counter()
    time_part("call rates and frequencies", lambda: judge_markers(table))
    related = time_part("relationship, with frequencies", lambda: find_marker_relationship(table))
    variances = time_part("REML", lambda: estimate_variances(related.matrix, np.ones((lines, 1)), response))
    fit = time_part(
        "values and reliabilities",
        lambda: fit_genomic_values(related.matrix, np.arange(lines), response, variances=variances),
    )
    effects = time_part("marker effects", lambda: find_marker_effects(table, related.frequency, related.divisor, fit))
    time_part("ten-fold leaving out", lambda: predict_left_out(fit, np.arange(lines) % 10))
    print(f"all: {time.perf_counter() - began:.1f} s by the clock, load {os.getloadavg()[0]:.1f}")
    print(
        f"variances {variances[0]:.4f} {variances[1]:.4f}, {len(effects)} effects, correlation with the true worth "
        f"{np.corrcoef(fit.values, worth)[0, 1]:.3f}"
    )
    print(f"peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB")


if __name__ == "__main__":
    main(*(int(word) for word in (sys.argv[1:3] or ("5000", "50000"))))
