"""Does the collector wait only as long as it is told to, also when the work fails?"""

from __future__ import annotations

import gc

import pytest

from firstsilk.work.collecting import pause_collecting


@pause_collecting()
def _fail() -> None:
    raise RuntimeError("it runs" if gc.isenabled() else "it waits")


def test_the_collector_waits_and_goes_on_also_after_a_fault() -> None:
    assert gc.isenabled()
    with pytest.raises(RuntimeError, match="it waits"):
        _fail()
    assert gc.isenabled()


def test_a_collector_that_was_off_stays_off() -> None:
    gc.disable()
    try:
        with pause_collecting():
            pass
        assert not gc.isenabled()
    finally:
        gc.enable()
