"""How wet is the grain, and what would a frost cost it, so many heat units after sowing?

Between silk and black layer a kernel is placed by the share of the heat units that it has had; published stages stand
at published shares, and between them a straight line is drawn, our choice. After black layer it dries by heat units.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from firstsilk.science.climate.damage import LOSS_AFUAKWA_CROOKSTON, LOSS_OMAFRA, FrostLoss, Killed
from firstsilk.science.climate.heat import F_PER_C, Scale
from firstsilk.science.flowering.ripening import DRY_CHU, DRY_GDD_F, DrySteps

FloatArray = NDArray[np.float64]

SILK_TO_BLACK_LAYER_SHARE: dict[Scale, float] = {"chu": 1100.0 / 2300.0, "gdd_f": 0.465, "gdd_c": 0.465}
"""Share of the units from sowing to black layer that comes after silk, where a hybrid's silk is not known. chu: a
hybrid of 2,300 that has silk still needs about 1,100 (Nadler). gdd: 900-1,100 gdd_f (NDSU 2004; 1,000 for relative
maturity 85-90: Lauer, W028) of about 2,150 for 90 days (Akyuz). (0.445 to 0.55 by a coefficients table, HPRCC.)"""
DRY_STEPS: dict[Scale, DrySteps] = {
    "chu": DRY_CHU,
    "gdd_f": DRY_GDD_F,
    "gdd_c": DrySteps(DRY_GDD_F.above / F_PER_C, DRY_GDD_F.change_pct, DRY_GDD_F.below / F_PER_C),
}
"""Heat units a point of moisture, by scale; gdd_c is gdd_f brought to °C."""
FIELD_DRY_PCT = 15.0
"""Grain on the stalk is not reckoned drier than this. Our choice: drying by heat units is published down to 20 %, and
in a cool autumn grain hardly dries below what the air holds (about 15 %, from memory)."""


@dataclass(frozen=True, slots=True)
class StageShare:
    """A kernel stage: share of the units from silk to black layer that it has had, and its moisture [%]."""

    name: str
    share: float
    moisture_pct: float


STAGE_SHARES = (
    StageShare("R2", 0.20, 85.0),
    StageShare("R3", 0.30, 80.0),
    StageShare("R4", 0.40, 70.0),
    StageShare("R5", 0.65, 60.0),
    StageShare("R5.25", 0.70, 52.0),
    StageShare("R5.5", 0.80, 40.0),
    StageShare("R5.75", 0.90, 37.0),
    StageShare("R6", 1.00, 35.0),
)
"""Moisture: Nielsen, Grain Fill Stages (R2-R4); Kassel 2015 from Abendroth et al. 2011 (R5-R6). Shares: R2 and R4 of a
coefficients table (HPRCC: 0.20, 0.40 and, for R5, 0.60, in three maturity groups; Lauer W028 0.20 for R2); R3 midway
(0.27 Lauer, 0.33 by Nielsen's days); R5 337-360 gdd_f before black layer (Purdue) of about 1,000; a quarter, a half and
almost all of the milk line 300, 200 and 100 before it (Country Folks 2019). (R5: 0.77-0.80 by Lauer.)"""
LOSS_STAGES = {"R4": "R4", "dough": "R4", "R5": "R5", "dent": "R5", "R5.5": "R5.5", "mid-dent": "R5.5"}
LOSS_STAGES |= {"R6": "R6", "black layer": "R6"}
"""The kernel stage behind each word of the two tables of yield loss."""
LOSS_TABLES: dict[str, tuple[FrostLoss, ...]] = {
    "afuakwa_crookston": LOSS_AFUAKWA_CROOKSTON,
    "omafra": LOSS_OMAFRA,
}


def share_of_filling(units: ArrayLike, to_silk: ArrayLike, to_black_layer: ArrayLike) -> FloatArray:
    """Give the share of the way from silk to black layer: 0 at silk, 1 at black layer, beyond both outside.

    Parameters
    ----------
    units
        Heat units so far, any shape.
    to_silk, to_black_layer
        Units to silk and to black layer in the same scale and from the same start, broadcast with `units`.

    Checked by ``tests/outside/test_ripening_published.py``.
    """
    silk = np.asarray(to_silk, dtype=np.float64)
    return np.asarray((np.asarray(units, dtype=np.float64) - silk) / (np.asarray(to_black_layer) - silk))


def grain_moisture_pct(
    units: ArrayLike, to_silk: ArrayLike, to_black_layer: ArrayLike, scale: Scale, floor_pct: float = FIELD_DRY_PCT
) -> FloatArray:
    """Give grain moisture on the stalk after so many heat units [%].

    Parameters
    ----------
    units
        Heat units so far [scale], any shape; NaN stays NaN.
    to_silk, to_black_layer
        Units to silk and to black layer [scale], from the same start, broadcast with `units`.
    scale
        Scale of all three.
    floor_pct
        Grain does not get drier than this [%].

    Returns
    -------
    FloatArray
        Moisture [%]; infinity before silk, when there is no grain. From silk to R2 it is held at R2's 85 %.

    Notes
    -----
    35 % at black layer (30-35 usual, 25-40 possible), then `DRY_STEPS`. The rating and these units are in one scale.

    Checked by ``tests/outside/test_ripening_published.py``.
    """
    units = np.asarray(units, dtype=np.float64)
    share = share_of_filling(units, to_silk, to_black_layer)
    filling = np.interp(share, [one.share for one in STAGE_SHARES], [one.moisture_pct for one in STAGE_SHARES])
    past = np.maximum(units - np.asarray(to_black_layer, dtype=np.float64), 0.0)
    wet = np.where(share < 1.0, filling, dry_on_stalk_pct(STAGE_SHARES[-1].moisture_pct, past, scale, floor_pct))
    return np.asarray(np.where(np.isnan(share), np.nan, np.where(share < 0.0, np.inf, wet)))


def dry_on_stalk_pct(
    moisture_pct: ArrayLike, units: ArrayLike, scale: Scale, floor_pct: float = FIELD_DRY_PCT
) -> FloatArray:
    """Give grain moisture after so many heat units of drying, no kernel filling any more [%].

    Parameters
    ----------
    moisture_pct
        Moisture to begin with [%], any shape; infinity, no grain, stays so.
    units
        Heat units since then [scale], broadcast with it.
    scale
        Their scale.
    floor_pct
        Grain does not get drier than this by drying [%].

    Notes
    -----
    The inverse of `units_to_dry`. The steps are published from 30 or 35 % down; for wetter grain of a plant killed
    early the upper one is kept, our choice.

    Checked by ``tests/outside/test_ripening_published.py``.
    """
    steps = DRY_STEPS[scale]
    wet, units = np.asarray(moisture_pct, dtype=np.float64), np.asarray(units, dtype=np.float64)
    first = np.maximum(wet - steps.change_pct, 0.0) * steps.above
    dried = np.minimum(units, first) / steps.above + np.maximum(units - first, 0.0) / steps.below
    return np.asarray(np.minimum(wet, np.maximum(wet - dried, floor_pct)))


def frost_loss_by_share_pct(
    share: ArrayLike, killed: Killed, table: tuple[FrostLoss, ...] = LOSS_AFUAKWA_CROOKSTON
) -> FloatArray:
    """Give the grain yield lost if killed at a share of the way from silk to black layer [%].

    Parameters
    ----------
    share
        As `share_of_filling` gives it, any shape; NaN (not killed) loses nothing.
    killed
        ``leaves`` only, or the whole ``plant``.
    table
        A published table.

    Returns
    -------
    FloatArray
        Loss [%]. Before the first stage of the table its first value: there the true loss is larger.

    Notes
    -----
    A straight line between the stages of the table, our choice; at the stages the published value.

    Checked by ``tests/outside/test_ripening_published.py``.
    """
    places = [find_stage_share(row.stage) for row in table]
    losses = [row.leaves_pct if killed == "leaves" else row.plant_pct for row in table]
    lost = np.interp(np.asarray(share, dtype=np.float64), places, losses)
    return np.asarray(np.where(np.isnan(lost), 0.0, lost))


def find_stage_share(stage: str) -> float:
    """Find the share of the way from silk to black layer of a kernel stage, or of a word for it (``dough``).

    Raises
    ------
    KeyError
        If neither is known.

    Checked by ``tests/outside/test_ripening_published.py``.
    """
    wanted = LOSS_STAGES.get(stage, stage)
    for one in STAGE_SHARES:
        if one.name == wanted:
            return one.share
    raise KeyError(f"no kernel stage {stage}; there are {', '.join(one.name for one in STAGE_SHARES)}")
