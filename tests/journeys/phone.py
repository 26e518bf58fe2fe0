"""What does a person do on the phone page again and again? Join, open a tag, send, read the three counters."""

from __future__ import annotations

from tests.journeys.serving import StationServer


def go_home(page) -> None:
    """Wait for the first screen of the day; the cautions stand before it once a day."""
    page.wait_for_selector("[data-screen=home], [data-screen=safety]")
    if page.evaluate("document.body.dataset.screen") == "safety":
        page.click("button.first")
    page.wait_for_selector("[data-screen=home]")


def join(page, server: StationServer, made: dict[str, object]) -> None:
    """Open the page, join with the code of the prepared books, and wait until the page works without a network."""
    page.goto(f"{server.address}/pocket/")
    page.wait_for_selector("[data-screen=join]")
    page.fill("#field", str(made["code"]))
    page.keyboard.press("Enter")
    go_home(page)
    page.wait_for_selector("#said:has-text('All is at the station')")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")


def open_tag(page, tag: str) -> None:
    """Type a tag on the first screen, as it might be typed."""
    page.fill("#field", tag.lower())
    page.keyboard.press("Enter")
    page.wait_for_selector("[data-screen=row]")


def read_counts(page) -> list[int]:
    """Notes on this phone, sent, confirmed."""
    return [int(text) for text in page.locator("#counts b").all_inner_texts()]


def send(page, wanted: list[int]) -> None:
    """Press Send, and see the three counters."""
    page.click("#send")
    page.wait_for_selector("#said:has-text('All is at the station')")
    page.wait_for_selector("#counts .busy", state="detached")
    assert read_counts(page) == wanted
