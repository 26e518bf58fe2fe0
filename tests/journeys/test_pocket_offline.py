"""A phone joins, loses the network, writes notes, and brings them once, whole, when the network is back."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.phone import join, open_tag, read_counts, send
from tests.journeys.serving import StationServer

pytestmark = [
    pytest.mark.browser,
    pytest.mark.skipif(shutil.which(CHROMIUM) is None, reason=f"there is no chromium at {CHROMIUM}"),
]

READ_NOTES = (
    "import json\n"
    "from firstsilk.records.models import Note\n"
    "from firstsilk.work.flowering.chain import verify_chain\n"
    "from firstsilk.work.occasion import Occasion\n"
    "rows = list(Note.objects.order_by('position').values('kind', 'detail', 'tag', 'male', 'value', 'device_number'))\n"
    "print(json.dumps({'rows': rows, 'ok': verify_chain(Occasion('eskerholm', None, None)).ok}))\n"
)


@pytest.fixture(scope="module")
def prepared(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, object]]:
    """Books made once; each test works on a copy."""
    home = tmp_path_factory.mktemp("books")
    return home, StationServer(home).prepare()


@pytest.fixture
def served(tmp_path: Path, prepared) -> Iterator[tuple[StationServer, dict[str, object]]]:
    home, made = prepared
    shutil.copytree(home, tmp_path / "books")
    server = StationServer(tmp_path / "books")
    try:
        server.start()
        yield server, made
    finally:
        server.kill()


@pytest.fixture
def context(tmp_path: Path) -> Iterator[object]:
    """A phone-sized browser that keeps its store on disk, as a phone does."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        context = driver.chromium.launch_persistent_context(
            tmp_path / "phone", executable_path=CHROMIUM, args=FLAGS, viewport={"width": 390, "height": 844}
        )
        context.set_default_timeout(60_000)
        yield context
        context.close()


def test_notes_written_without_a_network_arrive_once_and_whole(served, context) -> None:
    server, made = served
    _, crossed, male = made["tags"]
    page = context.pages[0]
    faults: list[str] = []
    page.on("pageerror", lambda fault: faults.append(str(fault)))
    join(page, server, made)

    server.kill()
    page.reload()
    page.wait_for_selector("[data-screen=home]")
    open_tag(page, crossed)
    assert page.inner_text("h1") == "Row 112"
    assert "Range 4, place 2" in page.inner_text(".told")
    page.click("[data-kind=silk]")
    page.wait_for_selector(".saved:has-text('Saved: Silk')")
    page.click("[data-kind=pollinated]")
    assert "Pollen from row 113" in page.inner_text(".told")
    page.click("button.digit >> nth=3")
    page.wait_for_selector(".saved:has-text('Saved: Pollinated 4')")
    page.click("[data-kind=shed_not_yet]")
    page.wait_for_selector(".saved:has-text('Saved: No pollen')")
    page.click(".undo")
    page.wait_for_selector(".saved:has-text('Taken back')")
    assert read_counts(page) == [4, 0, 0]
    # The browser is left and opened again, still without a network: the notes are there.
    page.reload()
    page.wait_for_selector("[data-screen=home]")
    assert read_counts(page) == [4, 0, 0]

    server.start()
    send(page, [4, 4, 4])
    once = json.loads(server.run(READ_NOTES))
    assert [(row["kind"], row["tag"]) for row in once["rows"]] == [
        ("silk", crossed),
        ("pollinated", crossed),
        ("shed_not_yet", crossed),
        ("withdrawn", crossed),
    ]
    assert [row["device_number"] for row in once["rows"]] == [1, 2, 3, 4]
    assert {name: once["rows"][1][name] for name in ("detail", "male", "value")} == {
        "detail": "cross",
        "male": male,
        "value": "4",
    }
    assert once["ok"]

    send(page, [4, 4, 4])
    assert json.loads(server.run(READ_NOTES)) == once
    assert faults == []


def test_notes_after_the_whole_database_of_the_browser_was_lost_are_put_back_from_the_file(served, context) -> None:
    server, made = served
    page = context.pages[0]
    join(page, server, made)
    server.kill()
    open_tag(page, made["tags"][0])
    page.click("[data-kind=silk]")
    page.wait_for_selector(".saved:has-text('Saved: Silk')")
    page.goto("about:blank")
    wiper = context.new_cdp_session(page)
    wiper.send("Storage.clearDataForOrigin", {"origin": server.address, "storageTypes": "indexeddb"})
    page.goto(f"{server.address}/pocket/")
    page.wait_for_selector("[data-screen=home]")
    assert "put back" in page.inner_text("#said")
    assert read_counts(page) == [1, 0, 0]
    server.start()
    send(page, [1, 1, 1])
    assert [row["kind"] for row in json.loads(server.run(READ_NOTES))["rows"]] == ["silk"]


def test_notes_after_the_file_was_lost_are_put_back_from_the_database(served, context) -> None:
    server, made = served
    page = context.pages[0]
    join(page, server, made)
    open_tag(page, made["tags"][0])
    page.click("[data-kind=silk]")
    page.wait_for_selector(".saved:has-text('Saved: Silk')")
    page.goto(f"{server.address}/pocket/manifest.json")
    page.evaluate("navigator.storage.getDirectory().then((folder) => folder.removeEntry('notes-1.ndjson'))")
    page.goto(f"{server.address}/pocket/")
    page.wait_for_selector("[data-screen=home]")
    send(page, [1, 1, 1])
    assert [row["kind"] for row in json.loads(server.run(READ_NOTES))["rows"]] == ["silk"]


def test_note_that_cannot_be_kept_turns_the_screen_red_and_can_be_given_as_a_file(served, context) -> None:
    server, made = served
    page = context.pages[0]
    join(page, server, made)
    open_tag(page, made["tags"][0])
    page.evaluate("() => { window.put = IDBObjectStore.prototype.put; }")
    full = "() => { throw new DOMException('full', 'QuotaExceededError'); }"
    page.evaluate(f"() => {{ IDBObjectStore.prototype.put = {full}; }}")
    page.click("[data-kind=silk]")
    page.wait_for_selector("[data-screen=red]")
    with page.expect_download() as download:
        page.click("button.first")
    (line,) = Path(download.value.path()).read_text("utf-8").splitlines()
    assert json.loads(line)["kind"] == "silk"
    page.evaluate("() => { IDBObjectStore.prototype.put = window.put; }")
    page.click("text=Try again")
    page.wait_for_selector("[data-screen=home]")
    send(page, [1, 1, 1])


def test_practice_notes_are_stored_as_practice(served, context) -> None:
    server, made = served
    page = context.pages[0]
    join(page, server, made)
    page.click("button:has-text('More')")
    page.click("button:has-text('Practice')")
    page.wait_for_selector("body.practice")
    page.click("button.quiet:has-text('Back')")
    open_tag(page, made["tags"][0])
    page.click("[data-kind=silk]")
    page.wait_for_selector(".saved:has-text('Saved: Silk')")
    page.click("text=Next tag")
    send(page, [1, 1, 1])
    told = server.run("from firstsilk.records.models import Note\nprint(Note.objects.get().practice)\n")
    assert told.strip() == "True"


def test_second_tab_says_so_and_numbers_nothing(served, context) -> None:
    server, made = served
    join(context.pages[0], server, made)
    second = context.new_page()
    second.goto(f"{server.address}/pocket/")
    second.wait_for_selector("[data-screen=stop]")
    assert "open already" in second.inner_text("h1")


def test_page_at_arms_length_has_large_text_large_buttons_and_no_fault_that_axe_finds(served, context) -> None:
    server, made = served
    page = context.pages[0]
    join(page, server, made)
    axe = (Path(__file__).parent / "assets" / "axe.min.js").read_text("utf-8")
    for go in (lambda: None, lambda: open_tag(page, made["tags"][1]), lambda: page.click("[data-kind=pollinated]")):
        go()
        sizes = page.evaluate(
            "[...document.querySelectorAll('button')].map((one) => one.getBoundingClientRect().height)"
        )
        assert min(sizes) >= 76
        texts = page.evaluate(
            "[...document.querySelectorAll('body *')].filter((one) => one.childNodes.length && one.innerText?.trim())"
            ".map((one) => parseFloat(getComputedStyle(one).fontSize))"
        )
        assert min(texts) >= 18
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        found = page.evaluate(f"(() => {{ {axe}; return axe.run(); }})()")
        assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []
