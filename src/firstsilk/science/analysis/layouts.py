"""What is laid out of records and model before one decides how to work them?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstsilk.science.analysis.codings import FixedTerm
from firstsilk.science.analysis.components import RandomPart
from firstsilk.science.analysis.models import Array
from firstsilk.science.analysis.records import Records


@dataclass(frozen=True, slots=True)
class Layout:
    """Records, terms, random part, residual group of each record (n,) and the names of all variances.

    `known` (K,) is nan where a variance is to be estimated.
    """

    records: Records
    terms: tuple[FixedTerm, ...]
    random: RandomPart
    groups: NDArray[np.intp]
    variance_names: tuple[tuple[str, str], ...]
    known: Array
