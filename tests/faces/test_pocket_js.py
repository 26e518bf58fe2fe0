"""The phone writes the same bytes as the station: canonical text, check sum, tag check and id, in a real browser."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.pocket.views import FOLDER
from firstsilk.science.flowering.notes import BODY_FIELDS, canonical_text, make_note_id, read_note
from firstsilk.science.seed.tags import find_check_sign, read_tag, tag_for_serial
from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.work.station_books import make_note

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

ORIGIN = "http://127.0.0.1:9"

TRICKY = [
    "",
    'quote " and \\ and / slash',
    "\b\f\n\r\t",
    "".join(chr(code) for code in range(0x20)),
    "\x7f\x80\x9f\xa0",
    "\u2028\u2029\ufeff\ufffe\uffff",
    "œ ß ḋ 中文 한국어 العربية",
    "🌽👩🏽‍🌾 \U0010ffff",
    "e\u0301 is not é",
    "<script>alert(1)</script> &amp; ' --",
    "\\u0000 \\n written out",
    "0.1 1e400 NaN -0",
    "__proto__",
    "x" * 2000,
]


@pytest.fixture(scope="module")
def run() -> Iterator[object]:
    """Evaluates an expression with `note` standing for the phone's module."""
    from playwright.sync_api import sync_playwright

    def answer(route) -> None:
        path = FOLDER / Path(route.request.url).name
        if path.suffix == ".js":
            route.fulfill(body=path.read_text("utf-8"), content_type="text/javascript")
        else:
            route.fulfill(body="<!doctype html><title>.</title>", content_type="text/html")

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        page = browser.new_page()
        page.route("**/*", answer)
        page.goto(f"{ORIGIN}/")

        def evaluate(expression: str, given: object = None) -> object:
            return page.evaluate(
                f"async (given) => {{ const note = await import('{ORIGIN}/note.js'); return {expression}; }}", given
            )

        yield evaluate
        browser.close()


def _notes() -> list[dict[str, object]]:
    notes = [make_note(number, value=text, doubt_reason=text[:300]) for number, text in enumerate(TRICKY, 1)]
    notes.append(make_note(2**53 - 1, plant=-3, practice=True, offset_min=-210, replaces=notes[0].id))
    return [{name: getattr(note, name) for name in (*BODY_FIELDS, "check_sum")} for note in notes]


def test_fields_of_the_body_stand_in_the_same_order(run) -> None:
    assert run("note.BODY_FIELDS") == list(BODY_FIELDS)


def test_canonical_text_and_check_sum_equal_the_stations_for_tricky_texts(run) -> None:
    # Handed over as ASCII JSON, so that the road into the browser changes nothing.
    wires = _notes()
    ours = [read_note(wire) for wire in wires]
    theirs = run(
        "JSON.parse(given).map((one) => [note.canonicalText(one), note.sealNote(one).check_sum])",
        json.dumps([{name: wire[name] for name in BODY_FIELDS} for wire in wires]),
    )
    assert [text for text, _ in theirs] == [canonical_text(note) for note in ours]
    assert [check_sum for _, check_sum in theirs] == [note.check_sum for note in ours]


def test_crc_of_the_published_check_text(run) -> None:
    assert run("note.crc32('123456789')") == "cbf43926"


def test_changed_note_is_not_whole(run) -> None:
    (wire, *_) = _notes()
    assert run("note.isWhole(given)", wire) is True
    assert run("note.isWhole({ ...given, value: 'x' })", wire) is False


def test_id_from_the_same_clock_and_dice_is_the_same(run) -> None:
    published = (0x017F22E279B0, bytes.fromhex("0cc318c4dc0c0c07398f"))
    for unix_ms, dice in (published, (2**48 - 1, b"\xff" * 10), (0, bytes(10))):
        theirs = run("note.uuid7(given[0], Uint8Array.from(given[1]))", [unix_ms, list(dice)])
        assert theirs == make_note_id(unix_ms, dice)


def test_tag_as_typed_is_read_or_refused_as_at_the_station(run) -> None:
    tags = [tag_for_serial(serial) for serial in (0, 1, 77, 12_345, 987_654_321, 20_000_000_000)]
    typed = [*tags, *(f" {tag[:4].lower()}-{tag[4:]}" for tag in tags)]
    typed += [tag.replace("0", "o").replace("1", "l") for tag in tags]
    for tag in tags:
        typed += [tag[:at] + sign + tag[at + 1 :] for at in range(8) for sign in "0Z9U*" if sign != tag[at]]
        typed += [tag[:at] + tag[at + 1] + tag[at] + tag[at + 2 :] for at in range(7)]
        typed += [tag[:7], tag + "0", ""]
    ours = []
    for text in typed:
        try:
            ours.append(read_tag(text))
        except InputRefused:
            ours.append(None)
    assert run("given.map((text) => note.readTag(text).tag ?? null)", typed) == ours
    bodies = ["0", "079", "A12425GABC1234002"]
    assert run("given.map((text) => note.findCheckSign(text))", bodies) == [find_check_sign(body) for body in bodies]


def test_clock_is_read_as_local_time_that_the_station_can_read(run) -> None:
    clock = run("note.readClock(new Date(2031, 6, 4, 5, 6, 7))")
    assert clock["taken_local"] == "2031-07-04T05:06:07"
    assert isinstance(clock["offset_min"], int)
