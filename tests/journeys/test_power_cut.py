"""Is what was said to be stored still there after a power cut? By the books' own pragmas; others must fail."""

from __future__ import annotations

from pathlib import Path

import pytest

from firstsilk.station.sqlite import WAL_IS_SAFE_FROM, pragmas_for_version
from tests.journeys.power_cut import Verdict, judge_cuts, write_notes

NOTES = 12
OURS = pragmas_for_version(WAL_IS_SAFE_FROM)
OURS_BEFORE = pragmas_for_version((3, 40, 1))


def cut(tmp_path: Path, pragmas: str, notes: int = NOTES, each: int = 1, acknowledge_first: bool = False) -> Verdict:
    (tmp_path / "written").mkdir()
    (tmp_path / "left").mkdir()
    disk = write_notes(tmp_path / "written", pragmas, notes, acknowledge_first)
    verdict = judge_cuts(disk, tmp_path / "left", seed=20310714, each=each)
    print(f"{verdict.cuts:,} cuts: {verdict.lost:,} lost notes, {verdict.most_lost} at most, {verdict.unsound} unsound")
    return verdict


@pytest.mark.parametrize("pragmas", [OURS, OURS_BEFORE], ids=["newest SQLite", "older SQLite"])
def test_books_after_a_power_cut_hold_all_that_was_acknowledged(tmp_path: Path, pragmas: str) -> None:
    verdict = cut(tmp_path, pragmas)
    assert verdict.cuts >= 3 * NOTES
    assert (verdict.lost, verdict.unsound) == (0, 0)


@pytest.mark.parametrize(
    ("kept", "given", "at_most"),
    [
        ("journal_mode=WAL; PRAGMA synchronous=FULL", "journal_mode=WAL; PRAGMA synchronous=NORMAL", NOTES),
        # Without the sync of the folder the journal may be back, and takes the last commit along.
        ("journal_mode=WAL; PRAGMA synchronous=FULL", "journal_mode=DELETE; PRAGMA synchronous=FULL", 1),
    ],
    ids=["NORMAL", "DELETE with FULL"],
)
def test_simulation_finds_pragmas_that_may_lose_notes(tmp_path: Path, kept: str, given: str, at_most: int) -> None:
    assert kept in OURS
    verdict = cut(tmp_path, OURS.replace(kept, given), each=3)
    assert verdict.lost > 0
    assert 1 <= verdict.most_lost <= at_most
    assert verdict.unsound == 0


def test_simulation_finds_books_without_any_sync(tmp_path: Path) -> None:
    verdict = cut(tmp_path, OURS.replace("synchronous=FULL", "synchronous=OFF"))
    assert verdict.lost > 0


def test_simulation_finds_an_answer_before_its_commit(tmp_path: Path) -> None:
    verdict = cut(tmp_path, OURS, acknowledge_first=True)
    assert verdict.lost > 0
    assert verdict.most_lost == 1
