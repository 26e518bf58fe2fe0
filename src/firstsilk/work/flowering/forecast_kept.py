"""Was this very forecast worked out a moment ago?

Most notes of a morning are of pollinations and bags: they change nothing of when rows silk and shed. A forecast depends
on its values alone, so one that was worked out from the same values is given again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, fields, is_dataclass
from functools import lru_cache
from hashlib import blake2b

import numpy as np

from firstsilk.science.flowering.season_forecast import SeasonTold

_MOST_KEPT = 4
"""Forecasts kept by a process: one of 20,000 rows is 32 MB, one of a hundred rows a fifth of a megabyte. Ours."""


def forecast_once(work_out: Callable[..., SeasonTold], *values: object, **more: object) -> SeasonTold:
    """What `work_out` makes of the values, from what was kept where all of them are the same to the last bit.

    Notes
    -----
    The arrays that are given again cannot be written to. Checked by tests/work/test_forecast_kept.py.
    """
    return _answer(_Asked(_digest((*values, *sorted(more.items()))), lambda: work_out(*values, **more)))


@dataclass(frozen=True, slots=True)
class _Asked:
    """A question, the same as another if its values are."""

    digest: bytes
    work_out: Callable[[], SeasonTold] = field(compare=False)


@lru_cache(maxsize=_MOST_KEPT)
def _answer(asked: _Asked) -> SeasonTold:
    told = asked.work_out()
    for each in (told.forecast.silk, told.forecast.shed):
        each.flags.writeable = False
    return told


def _digest(value: object) -> bytes:
    told = blake2b(digest_size=32)
    for part in _spell(value):
        told.update(part)
    return told.digest()


def _spell(value: object) -> Iterator[bytes]:
    """Bytes that differ wherever two values do."""
    if isinstance(value, np.ndarray):
        yield f"array {value.dtype.str} {value.shape}:".encode()
        yield np.ascontiguousarray(value).tobytes()
    elif is_dataclass(value):
        yield f"{type(value).__name__}(".encode()
        for one in fields(value):
            yield f"{one.name}=".encode()
            yield from _spell(getattr(value, one.name))
    elif isinstance(value, (tuple, list)):
        yield f"{len(value)} of:".encode()
        for one in value:
            yield from _spell(one)
    else:
        yield f"{type(value).__name__} {value!r};".encode()
