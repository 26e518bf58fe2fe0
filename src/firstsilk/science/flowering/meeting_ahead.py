"""Do a cross's silks and its males' pollen meet this season, draw by draw of a joint forecast?

The measures are those of `nursery.meeting`; its scenarios are here the draws of the forecast, in which rows keep
together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.nursery.meeting import (
    Windows,
    find_shed_span,
    judge_plain,
    judge_plants,
    serve_plain,
    serve_plants,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

MARGIN_DAYS = 14
"""Days kept before and after the draws, so that early and late plants of a row have room."""


@dataclass(frozen=True, slots=True)
class MeetingAhead:
    """How a cross meets in the draws.

    Attributes
    ----------
    p_meet
        Share of draws in which enough of a female row's silk days see pollen, a row taken as one plant.
    ears_frac
        Expected share of the ears wanted for which a plant is served, plant by plant, over the whole season.
    ahead_frac
        The same from today on: what has passed without a pollination is gone.
    shed_first_days
        Median over draws by how many days the males' shed that is nearest comes before silk; negative if after it.
        None where no draw has both.
    """

    p_meet: float
    ears_frac: float
    ahead_frac: float
    shed_first_days: float | None


def judge_draws(silk: ArrayLike, shed: ArrayLike, windows: Windows | None = None) -> MeetingAhead:
    """Say how a cross meets, given joint draws of its rows.

    Parameters
    ----------
    silk
        Days after today of half silk of the female's rows (females, draws), negative for days past, NaN for never.
    shed
        Days after today of half shed of all rows that may give pollen (males, draws), likewise.
    windows
        How long silks wait and pollen flies, and what counts as met; the sourced defaults if None.

    Returns
    -------
    MeetingAhead

    Raises
    ------
    ValueError
        If there is no row on either side, or the draws of both differ in number.

    Notes
    -----
    Not considered: rain and heat (every day can be worked), and how much pollen a row has for many females.

    Checked by ``tests/science/test_meeting_ahead.py``, day by day and plant by plant.
    """
    windows = Windows() if windows is None else windows
    females, males = np.asarray(silk, dtype=np.float64), np.asarray(shed, dtype=np.float64)
    if females.ndim != 2 or males.ndim != 2 or not len(females) or not len(males):
        raise ValueError("a cross needs a female row and a male row with draws")
    if females.shape[1] != males.shape[1]:
        raise ValueError(f"silk has {females.shape[1]} draws and shed {males.shape[1]}; they must be the same")
    known = np.concatenate([females[np.isfinite(females)], males[np.isfinite(males)]])
    if not np.isfinite(females).any() or not np.isfinite(males).any():
        return MeetingAhead(0.0, 0.0, 0.0, None)
    first = int(np.floor(known.min())) - MARGIN_DAYS
    n_days = int(np.ceil(known.max())) + MARGIN_DAYS - first + 1
    on_silk, on_shed = _as_days(females, first, n_days), _as_days(males, first, n_days)
    every_male, every_female = [tuple(range(len(males)))], [tuple(range(len(females)))]
    met, _ = judge_plain(serve_plain(on_shed, every_male, n_days, windows), on_silk, every_female)
    workable = np.ones((females.shape[1], n_days))
    whole = judge_plants(
        serve_plants(on_shed, every_male, workable, windows), on_silk, every_female, windows.needed_frac
    )
    workable[:, : max(0, -first)] = 0.0
    ahead = judge_plants(
        serve_plants(on_shed, every_male, workable, windows), on_silk, every_female, windows.needed_frac
    )
    return MeetingAhead(float(met[0, 0]), float(whole[0, 0]), float(ahead[0, 0]), _find_gap(females, males))


def find_pollen_days(windows: Windows | None = None) -> tuple[int, int]:
    """How many days after a female row's half silk a male's half shed may come, at the earliest and latest, so that
    middling plants of both meet.

    Notes
    -----
    Silks of the middling plant wait from day 0 to `silk_days` - 1; enough of the male sheds from `find_shed_span`.
    """
    windows = Windows() if windows is None else windows
    first, last = find_shed_span(windows)
    return -last, windows.silk_days - 1 - first


def _as_days(days: FloatArray, first: int, n_days: int) -> IntArray:
    """Days on a grid that begins at `first`; never is one past its end."""
    return np.where(np.isfinite(days), np.rint(days) - first, n_days).astype(np.int64)


def _find_gap(females: FloatArray, males: FloatArray) -> float | None:
    gap = females[:, None, :] - males[None, :, :]
    gap = gap.reshape(-1, gap.shape[2])
    known = np.isfinite(gap).any(axis=0)
    if not known.any():
        return None
    gap = gap[:, known]
    nearest = np.nanargmin(np.abs(gap), axis=0)
    return float(np.median(gap[nearest, np.arange(gap.shape[1])]))
