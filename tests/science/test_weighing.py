"""Is a lot counted right by its weight, and is a slip at the scale told?"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.seed.weighing import weigh_kernels


def test_a_lot_is_counted_to_the_nearest_kernel():
    found = weigh_kernels(246.0, [24.6], 100)
    assert (found.kernel_weight_mg, found.thousand_g, found.kernels) == (246.0, 246.0, 1000)
    assert found.cautions == ()
    assert weigh_kernels(246.122, [24.6], 100).kernels == 1000
    assert weigh_kernels(246.123, [24.6], 100).kernels == 1001


def test_an_empty_lot_is_none():
    assert weigh_kernels(0.0, known_mg=250.0).kernels == 0


@pytest.mark.parametrize(
    ("net", "samples", "count", "known", "told"),
    [
        (500, [9.9], 100, None, "A kernel of 99 mg is odd"),
        (500, [50.1], 100, None, "A kernel of 501 mg is odd"),
        (500, [12.0], 50, None, "Only 50 kernels were counted"),
        (500, [24.0, 27.0], 100, None, "The samples differ by 8.3 %"),
        (500, [22.4], 100, 300.0, "weighed 300 mg, now 224 mg"),
        (500, [], None, 300.0, "300 mg a kernel from before"),
    ],
)
def test_what_looks_odd_is_said_and_counted_all_the_same(net, samples, count, known, told):
    found = weigh_kernels(net, samples, count, known)
    assert told in " ".join(found.cautions)
    assert found.kernels > 0


@pytest.mark.parametrize(
    ("net", "samples", "count", "known", "code"),
    [
        (-1.0, [24.0], 100, None, "weight_wrong"),
        (math.nan, [24.0], 100, None, "weight_wrong"),
        (1e9, [24.0], 100, None, "weight_wrong"),
        (500, [0.0], 100, None, "weight_wrong"),
        (500, [24.0], None, None, "sample_uncounted"),
        (500, [24.0], 0, None, "sample_uncounted"),
        (20, [24.0], 100, None, "sample_heavier"),
        (500, [], None, None, "kernel_weight_unknown"),
    ],
)
def test_what_cannot_be_is_refused(net, samples, count, known, code):
    with pytest.raises(InputRefused) as refused:
        weigh_kernels(net, samples, count, known)
    assert refused.value.refusal.code == code


@given(kernels=st.integers(200, 100_000), mg=st.floats(100, 500))
def test_a_lot_of_known_kernels_comes_back_as_many(kernels, mg):
    assert weigh_kernels(kernels * mg / 1000, [100 * mg / 1000], 100).kernels == kernels
