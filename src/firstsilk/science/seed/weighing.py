"""How many kernels does a lot hold, by its weight?

A sample is counted and weighed; the lot's net weight divided by the weight of one kernel is its count.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from firstsilk.answers import refuse

LIGHTEST_MG, HEAVIEST_MG = 100.0, 500.0
"""Weights of one kernel beyond which a slip at the scale is likelier than the seed (a choice of ours): ears of early
inbreds gave kernels of some 240 mg."""
SAMPLE_KERNELS = 100
"""Kernels below which a sample is small: 100 to 125 suffice in breeding work (Fakorede & Orisadare 1981)."""
SPREAD_PERCENT = 4.0
"""Coefficient of variation of replicates above which they are weighed again. International rules of seed testing."""
HEAVIEST_LOT_G = 1e7
"""A net weight beyond ten tonnes is a slip of the keyboard (a choice of ours)."""


@dataclass(frozen=True, slots=True)
class Weighed:
    """What a weighing came to: weight of one kernel [mg], of a thousand [g], kernels in the lot, spread of the
    replicates [% of their mean; None: fewer than two], and what looks odd, in sentences."""

    kernel_weight_mg: float
    thousand_g: float
    kernels: int
    spread_percent: float | None
    cautions: tuple[str, ...]


def weigh_kernels(
    net_g: float, samples_g: Sequence[float] = (), sample_kernels: int | None = None, known_mg: float | None = None
) -> Weighed:
    """Count a lot's kernels by weight.

    Parameters
    ----------
    net_g
        Weight of the whole lot without its bag, the sample in it [g].
    samples_g
        Weights of counted samples [g], one or several; empty: `known_mg` is used.
    sample_kernels
        Kernels counted into each sample [count].
    known_mg
        Weight of one kernel from an earlier weighing [mg], for a lot weighed without a sample, and to compare with.

    Returns
    -------
    Weighed
        Kernels rounded to the nearest whole one (halves up); weights as computed, not rounded.

    Raises
    ------
    InputRefused
        If a weight is no weight, a sample has no count, a sample is heavier than the lot, or nothing tells the weight
        of a kernel.

    Notes
    -----
    With S samples of k kernels that weigh w1 ... wS: kernel weight = 1000 (w1 + ... + wS) / (S k) mg, thousand-kernel
    weight the same number in g, kernels = floor(1000 net_g / kernel weight + 1/2). Spread = 100 s / mean, s with
    S - 1 below. Cautions: a kernel outside 100 to 500 mg, fewer than 100 kernels counted, a spread above 4 %, a kernel
    a quarter off the weight known before. All at the moisture the seed has on the scale.

    References
    ----------
    Thousand-seed weight from replicates of 100 seeds: rules for testing seeds (AOSA; ISTA chapter 10).

    Checked by
    ----------
    tests/outside/test_weighing_published.py, tests/science/test_weighing.py
    """
    if not (math.isfinite(net_g) and 0 <= net_g <= HEAVIEST_LOT_G):
        raise refuse("weight_wrong", f"{net_g:g} g is not the weight of a lot.", f"Write 0 to {HEAVIEST_LOT_G:,.0f} g.")
    mg, spread, told = _weigh_one(samples_g, sample_kernels, known_mg)
    if sum(samples_g) > net_g * (1 + 1e-9):
        raise refuse(
            "sample_heavier",
            f"The samples weigh {sum(samples_g):g} g, the whole lot {net_g:g} g.",
            "Weigh the lot with its samples in it, without the bag.",
        )
    if not LIGHTEST_MG <= mg <= HEAVIEST_MG:
        told.append(
            f"A kernel of {mg:.0f} mg is odd: maize has {LIGHTEST_MG:.0f} to {HEAVIEST_MG:.0f} mg. "
            "Count and weigh the sample again."
        )
    return Weighed(mg, mg, math.floor(1000.0 * net_g / mg + 0.5), spread, tuple(told))


def _weigh_one(
    samples_g: Sequence[float], sample_kernels: int | None, known_mg: float | None
) -> tuple[float, float | None, list[str]]:
    """Weight of one kernel [mg], spread of the samples [%], cautions."""
    if not samples_g:
        if known_mg is None:
            why = "No sample was counted and the weight of a kernel of this lot is not known."
            raise refuse("kernel_weight_unknown", why, f"Count {SAMPLE_KERNELS} kernels and weigh them.")
        return known_mg, None, [f"No sample was counted: {known_mg:.0f} mg a kernel from before was used."]
    if sample_kernels is None or sample_kernels < 1:
        raise refuse("sample_uncounted", "The sample was weighed but not counted.", "Say how many kernels are in it.")
    for weight in samples_g:
        if not (math.isfinite(weight) and weight > 0):
            raise refuse("weight_wrong", f"{weight:g} g is not the weight of a sample.", "Write it in grams.")
    told: list[str] = []
    counted = len(samples_g) * sample_kernels
    mg = 1000.0 * sum(samples_g) / counted
    spread = _find_spread(samples_g)
    if counted < SAMPLE_KERNELS:
        told.append(f"Only {counted} kernels were counted: with {SAMPLE_KERNELS} the count is surer.")
    if spread is not None and spread > SPREAD_PERCENT:
        told.append(f"The samples differ by {spread:.1f} % (more than {SPREAD_PERCENT:g} %): weigh them again.")
    if known_mg is not None and abs(mg - known_mg) > 0.25 * known_mg:
        told.append(f"Before, a kernel of this lot weighed {known_mg:.0f} mg, now {mg:.0f} mg.")
    return mg, spread, told


def _find_spread(weights_g: Sequence[float]) -> float | None:
    if len(weights_g) < 2:
        return None
    mean = math.fsum(weights_g) / len(weights_g)
    variance = math.fsum((one - mean) ** 2 for one in weights_g) / (len(weights_g) - 1)
    return 100.0 * math.sqrt(variance) / mean
