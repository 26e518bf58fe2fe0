"""What does a frost do to standing maize, and how much grain yield does it cost?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Killed = Literal["leaves", "plant"]

KILLING_POINT_C = (28.0 - 32.0) / 1.8
"""28 °F: a few minutes kill. Carter & Hesterman, Handling Corn Damaged by Autumn Frost, NCH-57."""
DAMAGE_POINT_C = 0.0
"""32 °F: several hours below do substantial damage. NCH-57."""
DAMAGE_HOURS = 4.0
"""Lower end of NCH-57's "4 to 5 hours" below 32 °F."""


@dataclass(frozen=True, slots=True)
class FrostLoss:
    """Grain yield lost, in percent, if killed at one stage: leaves only, or the whole plant."""

    stage: str
    leaves_pct: float
    plant_pct: float


LOSS_AFUAKWA_CROOKSTON = (FrostLoss("R5", 25.0, 40.0), FrostLoss("R5.5", 5.0, 12.0), FrostLoss("R6", 0.0, 0.0))
"""Afuakwa & Crookston 1984, Crop Sci. 24:687-691, as quoted by Ortez et al. 2022."""
LOSS_OMAFRA = (
    FrostLoss("dough", 35.0, 55.0),
    FrostLoss("dent", 25.0, 40.0),
    FrostLoss("mid-dent", 5.0, 10.0),
    FrostLoss("black layer", 0.0, 0.0),
)
"""OMAFRA 2017, Watching For Frost. A light frost kills leaves, a killing frost the plant."""


def classify_frost(tmin_c: float, hours_below_0_c: float = 0.0) -> Literal["none", "light", "substantial", "killing"]:
    """Say what a night's frost does.

    Parameters
    ----------
    tmin_c
        Lowest temperature of the night [°C].
    hours_below_0_c
        Time spent below 0 °C [h].

    Returns
    -------
    str
        ``killing`` at -2.2 °C (28 °F) or less, ``substantial`` after 4 h below 0 °C, ``light`` if below 0 °C at
        all, else ``none``.

    Notes
    -----
    Shelter air above 0 °C on a clear calm night can still mean frost on leaves.

    References
    ----------
    Carter P.R., Hesterman O.B., NCH-57, Purdue.

    Checked by ``tests/outside/test_agronomy_words.py`` (killing_frost).
    """
    if tmin_c <= KILLING_POINT_C:
        return "killing"
    if tmin_c >= DAMAGE_POINT_C:
        return "none"
    return "substantial" if hours_below_0_c >= DAMAGE_HOURS else "light"


def frost_yield_loss_pct(stage: str, killed: Killed, table: tuple[FrostLoss, ...] = LOSS_AFUAKWA_CROOKSTON) -> float:
    """Give the grain yield lost to a killing before maturity.

    Parameters
    ----------
    stage
        A stage named in the table, e.g. ``R5``.
    killed
        ``leaves`` only, or the whole ``plant``.
    table
        The published table; `LOSS_AFUAKWA_CROOKSTON` or `LOSS_OMAFRA`.

    Returns
    -------
    float
        Yield loss [%]. No value is made up between stages.

    Raises
    ------
    KeyError
        If the table has no such stage.

    Checked by ``tests/outside/test_agronomy.py`` (frost_yield_loss_pct).
    """
    for row in table:
        if row.stage == stage:
            return row.leaves_pct if killed == "leaves" else row.plant_pct
    raise KeyError(f"the table knows the stages {', '.join(row.stage for row in table)}, not {stage}")
