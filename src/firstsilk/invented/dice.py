"""Where does chance come from, so that each draw depends on the seed and its own name and on nothing else?

A draw named by words is the same whatever was drawn before it: a year more of weather, a row more in the field or a
day list answered in another order changes no other value.
"""

from __future__ import annotations

from hashlib import sha256

import numpy as np


def roll(seed: int, *words: object) -> np.random.Generator:
    """Dice for one named draw.

    Parameters
    ----------
    seed
        The world's seed.
    words
        What is drawn, e.g. ``"sca", "EK201", "HM103"``; order counts.

    Returns
    -------
    numpy.random.Generator
        The same for the same seed and words; unrelated for others.
    """
    name = "\x1f".join([str(seed), *map(str, words)])
    return np.random.default_rng(int.from_bytes(sha256(name.encode("utf-8")).digest()[:16], "big"))
