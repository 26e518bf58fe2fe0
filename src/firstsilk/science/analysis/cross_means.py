"""What is the mean of each cross at the average block, and how sure is it?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg

from firstsilk.answers import refuse
from firstsilk.science.analysis.matings import SHOWN, Matings
from firstsilk.science.analysis.models import Array

SAME = 1e-9
"""A direction shorter than this share of the longest is one the crosses do not show."""


@dataclass(frozen=True, slots=True)
class CrossMeans:
    """Means of crosses (c,), their covariance in units of the residual (c, c), and what goes into sums of squares.

    `root` (c, c) is the triangle whose square is the information on differences between crosses once blocks are taken
    out (and a size of its own for the common mean, in which all columns of it add up); `score` (c,) its right side.
    """

    values: Array
    spread: Array
    root: Array
    score: Array
    residual_ss: float
    residual_df: int
    block_ss: float
    block_df: int


def adjust_for_blocks(matings: Matings) -> CrossMeans:
    """Cross means by least squares on crosses and blocks, at the mean of all blocks.

    Raises
    ------
    InputRefused
        If no chain of blocks joins all crosses.
    """
    n, c = len(matings.response), len(matings.crosses)
    level = float(matings.response.mean())
    y = matings.response - level
    used, block = np.unique(matings.block, return_inverse=True)
    b = len(used)
    incidence = np.zeros((c, b))
    np.add.at(incidence, (matings.cross, block), 1.0)
    sizes = incidence.sum(axis=0)
    block_totals = np.bincount(block, y, b)
    information = np.diag(incidence.sum(axis=1)) - (incidence / sizes) @ incidence.T
    score = np.bincount(matings.cross, y, c) - incidence @ (block_totals / sizes)
    _check_joined(incidence, matings)
    # The common mean is no difference: its direction gets a size of its own, and is taken out again.
    root = np.linalg.cholesky(information + n / c**2)
    half = scipy.linalg.solve_triangular(root, np.eye(c), lower=True)
    differences = half.T @ half - 1.0 / n
    effects = differences @ score
    blocks = (block_totals - incidence.T @ effects) / sizes
    share = (incidence / sizes).mean(axis=1)
    shared = differences @ share
    spread = differences - shared[:, None] - shared + share @ shared + float(np.mean(1.0 / sizes)) / b
    df = n - c - (b - 1)
    left = y - effects[matings.cross] - blocks[block]
    return CrossMeans(
        level + effects + float(blocks.mean()),
        spread,
        root,
        score,
        float(left @ left) if df else 0.0,
        df,
        float(np.sum(block_totals**2 / sizes)),
        b - 1,
    )


def _check_joined(incidence: Array, matings: Matings) -> None:
    """Raise `InputRefused` if crosses stand in blocks that share no cross with the others."""
    reached = np.zeros(len(incidence), dtype=bool)
    reached[0] = True
    for _ in range(incidence.shape[1]):
        reached = np.asarray(incidence[:, incidence[reached].sum(axis=0) > 0].sum(axis=1) > 0, dtype=bool)
    if np.all(reached):
        return
    apart = [" x ".join(matings.names(int(at))) for at in np.flatnonzero(~reached)]
    told = ", ".join(apart[:SHOWN]) + (f" and {len(apart) - SHOWN} more" if len(apart) > SHOWN else "")
    raise refuse(
        "not_connected",
        f"No chain of blocks joins these crosses with {' x '.join(matings.names(0))}: {told}",
        "Analyse them apart, or leave the blocks out.",
    )
