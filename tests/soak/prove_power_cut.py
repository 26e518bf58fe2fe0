"""Power cuts after every step of many commits, each many times with other dice: nothing acknowledged is ever lost."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.journeys.test_power_cut import OURS, OURS_BEFORE, cut


@pytest.mark.parametrize("pragmas", [OURS, OURS_BEFORE], ids=["newest SQLite", "older SQLite"])
def test_books_after_thousands_of_power_cuts_hold_all_that_was_acknowledged(tmp_path: Path, pragmas: str) -> None:
    verdict = cut(tmp_path, pragmas, notes=80, each=10)
    assert verdict.cuts >= 2_000
    assert (verdict.lost, verdict.unsound) == (0, 0)
