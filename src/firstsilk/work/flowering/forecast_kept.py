"""Was this very forecast worked out a moment ago?

Most notes of a morning are of pollinations and bags: they change nothing of when rows silk and shed. A forecast depends
on its values alone, so one that was worked out from the same values is given again.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from hashlib import blake2b
from threading import Lock

import numpy as np

from firstsilk.science.flowering.season_forecast import SeasonTold

_MOST_KEPT = 4
"""Forecasts kept by a process: one of 20,000 rows is 32 MB, one of a hundred rows a fifth of a megabyte. Ours."""

_kept: OrderedDict[bytes, SeasonTold] = OrderedDict()
_lock = Lock()


def forecast_once(work_out: Callable[..., SeasonTold], *values: object, **more: object) -> SeasonTold:
    """What `work_out` makes of the values, from what was kept where all of them are the same to the last bit.

    Notes
    -----
    The arrays that are given again cannot be written to. Checked by tests/work/test_forecast_kept.py.
    """
    key = _digest((*values, *sorted(more.items())))
    with _lock:
        if key in _kept:
            _kept.move_to_end(key)
            return _kept[key]
    told = work_out(*values, **more)
    for each in (told.forecast.silk, told.forecast.shed):
        each.flags.writeable = False
    with _lock:
        _kept[key] = told
        while len(_kept) > _MOST_KEPT:
            _kept.popitem(last=False)
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
        for field in fields(value):
            yield f"{field.name}=".encode()
            yield from _spell(getattr(value, field.name))
    elif isinstance(value, (tuple, list)):
        yield f"{len(value)} of:".encode()
        for one in value:
            yield from _spell(one)
    else:
        yield f"{type(value).__name__} {value!r};".encode()
