"""Is a forecast given again only where every value it was worked out from is the same?"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pytest

from firstsilk.work.flowering import forecast_kept
from firstsilk.work.flowering.forecast_kept import forecast_once


@dataclass
class Days:
    silk: np.ndarray
    shed: np.ndarray


@dataclass
class Told:
    forecast: Days


@dataclass(frozen=True)
class Noted:
    seen: np.ndarray
    method: list[str]


@pytest.fixture(autouse=True)
def empty():
    forecast_kept._answer.cache_clear()
    yield
    forecast_kept._answer.cache_clear()


def _work_out(worked):
    def work_out(*values, **more):
        worked.append((values, more))
        return Told(Days(np.zeros(2), np.zeros(2)))

    return work_out


def _noted(seen=(1.0, np.nan), method=("self", "dh")):
    return Noted(np.array(seen), list(method))


def test_the_same_values_made_anew_are_worked_out_once():
    worked = []
    first = forecast_once(_work_out(worked), date(2031, 5, 9), _noted(), (2029, 2030), seed=1)
    assert forecast_once(_work_out(worked), date(2031, 5, 9), _noted(), (2029, 2030), seed=1) is first
    assert len(worked) == 1
    with pytest.raises(ValueError, match="read-only"):
        first.forecast.silk[0] = 1.0


OTHERS = {
    "a day": (date(2031, 5, 10), _noted(), (2029, 2030)),
    "a note": (date(2031, 5, 9), _noted(seen=(1.0, 2.0)), (2029, 2030)),
    "the last bit": (date(2031, 5, 9), _noted(seen=(np.nextafter(1.0, 2.0), np.nan)), (2029, 2030)),
    "the shape": (date(2031, 5, 9), _noted(seen=((1.0, np.nan),)), (2029, 2030)),
    "whole numbers": (date(2031, 5, 9), _noted(method=("self", "dh")), (2029, 2030.0)),
    "where a text ends": (date(2031, 5, 9), _noted(method=("selfd", "h")), (2029, 2030)),
    "where a list ends": (date(2031, 5, 9), _noted(method=("self",)), ("dh", 2029, 2030)),
}


@pytest.mark.parametrize("what", OTHERS)
def test_anything_else_is_worked_out_again(what):
    worked = []
    forecast_once(_work_out(worked), date(2031, 5, 9), _noted(), (2029, 2030), seed=1)
    forecast_once(_work_out(worked), *OTHERS[what], seed=1)
    assert len(worked) == 2


def test_another_seed_is_worked_out_again_and_the_oldest_is_let_go():
    worked = []
    for seed in (1, 2, 3, 4, 1, 5, 1, 2):
        forecast_once(_work_out(worked), date(2031, 5, 9), seed=seed)
    assert [more["seed"] for _, more in worked] == [1, 2, 3, 4, 5, 2]
