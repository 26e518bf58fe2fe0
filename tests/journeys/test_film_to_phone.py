"""One phone shows its notes as a film of codes; another takes them with its camera, and keeps them."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.code_films import camera_flags, write_film
from tests.journeys.pocket_files import serve_pocket_files

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

BEGIN = """async () => {
  const { openStore } = await import("/pocket/own/store.js");
  const { loadWords } = await import("/pocket/own/words.js");
  await loadWords("/pocket/", "en");
  const store = await openStore("/pocket/");
  const tellRed = (fault) => { throw fault; };
  window.pocket = { store, unsaved: [], localNow: () => "2031-07-20T10:00:00", tellCounts() {}, tellRed };
}"""
SHOW = """async (count) => {
  for (let at = 0; at < count; at += 1) await pocket.store.write({ kind: "pollinated", tag: "0000002Y", value: "3" });
  const { makeFilm } = await import("/pocket/own/film.js");
  const { makeCode } = await import("/pocket/own/qr.js");
  return (await makeFilm(pocket.store.unconfirmed())).map((frame) => makeCode(frame, 15));
}"""
TAKE = """async () => {
  const { openTake } = await import("/pocket/own/handoff.js");
  openTake(pocket, { back() {} });
}"""
IDS = "[...pocket.store.notes.values()].map((note) => note.id).sort()"


def _film(codes: list[list[list[bool]]]) -> list[np.ndarray]:
    """What a camera over the other phone sees: each code a few pictures long, a little soft, with noise."""
    dice = np.random.default_rng(20310714)
    shot = []
    for rows in codes:
        code = np.where(np.pad(np.array(rows), 4), 25.0, 230.0).repeat(7, 0).repeat(7, 1)
        for _ in range(3):
            picture = np.full((720, 1280), 60.0)
            down, right = dice.integers(20, 100), dice.integers(250, 400)
            picture[down : down + code.shape[0], right : right + code.shape[1]] = code
            picture = (picture + np.roll(picture, 1, 0) + np.roll(picture, 1, 1)) / 3 + dice.normal(0, 6, picture.shape)
            shot.append(np.clip(picture, 0, 255).astype(np.uint8))
    return shot


def test_notes_go_from_screen_to_camera_and_are_kept_twice(tmp_path: Path) -> None:
    from playwright.sync_api import sync_playwright

    with serve_pocket_files() as address, sync_playwright() as driver:
        giver = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = giver.new_page()
        page.goto(f"{address}/pocket/")
        page.evaluate(BEGIN)
        codes = page.evaluate(SHOW, 40)
        given = page.evaluate(IDS)
        giver.close()
        assert len(codes) > 2
        film = write_film(tmp_path / "film.y4m", _film(codes), per_second=10)
        taker = driver.chromium.launch(executable_path=CHROMIUM, args=[*FLAGS, *camera_flags(film)])
        page = taker.new_page()
        page.goto(f"{address}/pocket/")
        page.evaluate(BEGIN)
        page.evaluate(TAKE)
        page.click("button.first")
        page.wait_for_selector("[data-screen=take] .said:has-text('40 notes')", timeout=60_000)
        assert page.evaluate(IDS) == given
        # Both stores have them: the page opened anew finds nothing to put back, and numbers its own from 1.
        page.reload()
        page.evaluate(BEGIN)
        assert page.evaluate(IDS) == given
        assert page.evaluate("pocket.store.repaired") == {"toFile": 0, "toDatabase": 0, "damaged": 0, "missing": []}
        assert page.evaluate("pocket.store.write({ kind: 'silk', tag: '0000002Y' }).then((note) => note.number)") == 1
        taker.close()
