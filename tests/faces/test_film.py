"""A film of codes from a phone's page is read at the desk: every code, any order, photos, and what is missing."""

from __future__ import annotations

import random
import shutil
import zlib
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
import zxingcpp
from PIL import Image

from firstsilk.answers import InputRefused
from firstsilk.faces.files.film_photos import read_film, read_film_folder
from firstsilk.science.flowering.film import (
    MARK,
    SIGNS,
    FilmUnreadable,
    decode_base45,
    encode_base45,
    read_films,
)
from firstsilk.science.flowering.notes import make_note_id, note_as_wire, read_note
from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.pocket_files import serve_pocket_files
from tests.work.station_books import make_note

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

CODES = """async (asked) => {
  const { makeCode } = await import("/pocket/own/qr.js");
  return asked.map((one) => makeCode(...one));
}"""
ROOM = """async () => {
  const { countSigns } = await import("/pocket/own/qr.js");
  return Array.from({ length: 20 }, (_, at) => countSigns(at + 1));
}"""
FILM = "async (notes) => (await import('/pocket/own/film.js')).makeFilm(notes)"
# ISO/IEC 18004, capacity of versions 1 to 20 at level M, alphanumeric signs.
CAPACITY = [20, 38, 61, 90, 122, 154, 178, 221, 262, 311, 366, 419, 483, 528, 600, 656, 734, 816, 909, 970]


@pytest.fixture(scope="module")
def page() -> Iterator[object]:
    from playwright.sync_api import sync_playwright

    with serve_pocket_files() as address, sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page()
        page.goto(f"{address}/pocket/")
        yield page
        browser.close()


def _make_notes(count: int) -> list[dict[str, object]]:
    dice = random.Random(count)
    kinds = ["silk", "shed", "pollinated", "shoot_bagged"]
    return [
        note_as_wire(
            make_note(
                number,
                id=make_note_id(1_942_000_000_000 + 40_000 * number, dice.randbytes(10)),
                kind=dice.choice(kinds),
                value=str(dice.randint(1, 9)),
                tag="".join(dice.choices("0123456789ABCDEFGHJKMNPQRSTVWXYZ", k=8)),
            )
        )
        for number in range(1, count + 1)
    ]


def _draw(rows: list[list[bool]], dots: int = 3) -> np.ndarray:
    dark = np.pad(np.array(rows), 4)
    return np.where(dark, 0, 255).astype(np.uint8).repeat(dots, 0).repeat(dots, 1)


def _as_png(picture: np.ndarray, kind: str = "PNG") -> bytes:
    packed = BytesIO()
    Image.fromarray(picture).save(packed, kind)
    return packed.getvalue()


def test_codes_of_every_version_read_back(page) -> None:
    assert page.evaluate(ROOM) == CAPACITY
    dice = random.Random(18004)
    asked = []
    for version, room in enumerate(CAPACITY, start=1):
        for length in (room - 1, room):
            asked.append(["".join(dice.choices(SIGNS, k=length)), version])
        asked.append(["A" * (room // 2), version])
    for (text, version), rows in zip(asked, page.evaluate(CODES, asked), strict=True):
        assert len(rows) == 17 + 4 * version
        (code,) = zxingcpp.read_barcodes(_draw(rows), formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
        assert code.text == text
        assert code.ec_level == "M"


def test_longest_text_takes_the_smallest_version_and_more_is_refused(page) -> None:
    for version, room in ((1, 20), (2, 38), (9, 262), (20, 970)):
        (rows,) = page.evaluate(CODES, [["7" * room]])
        assert len(rows) == 17 + 4 * version
    with pytest.raises(Exception, match="fit no code"):
        page.evaluate(CODES, [["7" * 971]])
    with pytest.raises(Exception, match="no place in this code"):
        page.evaluate(CODES, [["abc"]])


@pytest.mark.parametrize("count", [1, 2, 200])
def test_film_of_the_page_gives_the_same_notes_at_the_desk(page, count: int) -> None:
    notes = _make_notes(count)
    frames = page.evaluate(FILM, notes)
    shuffled = [*frames, "8K3F-22Q1", frames[0]]
    random.Random(count).shuffle(shuffled)
    (film,) = read_films(shuffled)
    assert list(film.notes) == notes
    assert [read_note(note) for note in film.notes]
    print(f"{count} notes in {len(frames)} codes, {sum(map(len, frames)) / count:.0f} signs a note")
    if count == 200:
        assert len(frames) <= 30


def test_pictures_of_a_film_come_in_as_one_and_missing_codes_are_named(page, tmp_path: Path) -> None:
    notes = _make_notes(40)
    frames = page.evaluate(FILM, notes)
    assert len(frames) > 3
    for at, rows in enumerate(page.evaluate(CODES, [[frame, 15] for frame in frames])):
        wall = np.full((600, 800), 140, np.uint8)
        code = _draw(rows, 5)
        wall[60 : 60 + code.shape[0], 90 : 90 + code.shape[1]] = code
        (tmp_path / f"photo-{at}.jpg").write_bytes(_as_png(wall, "JPEG"))
    assert read_film_folder(tmp_path) == notes
    (tmp_path / "photo-1.jpg").unlink()
    with pytest.raises(InputRefused, match=rf"1 of {len(frames)} codes of a film are on no picture: 2\."):
        read_film_folder(tmp_path)


def test_no_pictures_no_codes_and_what_is_no_picture_are_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="no folder"):
        read_film_folder(tmp_path / "none")
    with pytest.raises(InputRefused, match="no picture here"):
        read_film_folder(tmp_path)
    with pytest.raises(InputRefused, match="no code of a phone's film"):
        read_film([("wall.png", _as_png(np.full((60, 80), 9, np.uint8)))], "photos")
    with pytest.raises(InputRefused, match="cannot be opened"):
        read_film([("wall.png", b"\x89PNG and no more")], "photos")
    with pytest.raises(InputRefused, match="cannot be opened"):
        read_film([("wall.png", b"plain words")], "photos")


def _frame(packed: bytes, film: int | None = None, place: int = 0, n_frames: int = 1) -> str:
    head = (zlib.crc32(packed) if film is None else film).to_bytes(4, "big")
    head += place.to_bytes(2, "big") + n_frames.to_bytes(2, "big") + zlib.crc32(packed).to_bytes(4, "big")
    return MARK + encode_base45(head + packed)


def _pack(text: bytes) -> bytes:
    packing = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
    return packing.compress(text) + packing.flush()


def test_frames_that_are_damaged_are_passed_over_and_films_that_are_none_refused() -> None:
    good = _frame(b"abc", film=7, n_frames=2)
    for broken in (good[:-3], good[:-2] + "00", "", MARK, MARK + "00", good.lower(), _frame(b"abc", place=3)):
        assert read_films([broken]) == ()
    assert read_films([good])[0].missing == (2,)
    for packed in (
        b"no deflate",
        _pack(b"{}"),
        _pack(b"[[1]]"),
        _pack(b"[" * 5000),
        _pack(b'"' + b"a" * 2**26),
        _pack(b"[]"),
    ):
        with pytest.raises(FilmUnreadable):
            read_films([_frame(packed)])
    with pytest.raises(FilmUnreadable, match="fit together"):
        read_films([_frame(b"abc", film=7)])
    assert decode_base45(encode_base45(bytes(range(256)))) == bytes(range(256))
