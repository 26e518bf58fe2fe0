"""A browser that is killed while the page writes notes, again and again: what was said to be saved, and what is there.

The page is the real one. What it says is read from the screen; a note counts as said to be saved once the screen says
so. The browser is ended with SIGKILL, all of its processes at once, as a phone does to a page when memory is short.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from tests.journeys.chromium import CHROMIUM, FLAGS
from tests.journeys.serving import APPLICATION, StationServer

WATCH = """
// Which note was handed to the file writer last, and what does the page tell of itself?
window.handed = null;
const post = Worker.prototype.postMessage;
Worker.prototype.postMessage = function (message, ...rest) {
  if (message.name === "append") {
    for (const line of message.given) {
      const entry = JSON.parse(line.slice(9));
      if (entry.note) window.handed = entry.note;
    }
  }
  return post.call(this, message, ...rest);
};
"""

WRITE = """
async () => {
  // Press the buttons of one row as fast as the page says that a note is saved, until there is no page.
  const kinds = ["silk", "silk_not_yet", "shed", "shed_not_yet"];
  const wait = (ready) => new Promise((done) => {
    const look = () => (ready() ? done() : setTimeout(look, 1));
    look();
  });
  for (let turn = 0; ; turn += 1) {
    const before = window.handed;
    const said = () => document.querySelector(".saved")?.textContent || "";
    const button = document.querySelector(`[data-kind=${kinds[turn % kinds.length]}]`);
    const old = document.querySelector(".saved");
    button.click();
    await wait(() => window.handed !== before && document.querySelector(".saved") !== old && said().length > 3);
    console.log("SAVED " + JSON.stringify({ id: window.handed.id, number: window.handed.number }));
  }
}
"""

READ_BOOKS = (
    "import json\n"
    "from firstsilk.records.models import Note\n"
    "from firstsilk.work.flowering.chain import verify_chain\n"
    "from firstsilk.work.occasion import Occasion\n"
    "ids = [str(one) for one in Note.objects.values_list('uuid', flat=True)]\n"
    "numbers = sorted(Note.objects.values_list('device_number', flat=True))\n"
    "ok = verify_chain(Occasion('eskerholm', None, None)).ok\n"
    "print(json.dumps({'ids': ids, 'numbers': numbers, 'ok': ok}))\n"
)


def find_browser(profile: Path) -> list[int]:
    """All processes of the browser with this profile, the first one first."""
    parents: dict[int, int] = {}
    roots: list[int] = []
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        with suppress(OSError):
            parents[int(entry.name)] = int((entry / "stat").read_text().rsplit(")", 1)[1].split()[1])
            if f"--user-data-dir={profile}".encode() in (entry / "cmdline").read_bytes().split(b"\0"):
                roots.append(int(entry.name))
    found = set(roots)
    while more := {pid for pid, parent in parents.items() if parent in found} - found:
        found |= more
    return sorted(found)


def kill_browser(profile: Path) -> int:
    """SIGKILL to every process of the browser with this profile; gives how many."""
    pids = find_browser(profile)
    for pid in pids:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)
    deadline = time.monotonic() + 20
    while find_browser(profile) and time.monotonic() < deadline:
        time.sleep(0.01)
    assert not find_browser(profile), "the browser did not end"
    return len(pids)


@dataclass
class Phone:
    """A phone that is killed again and again, and what its screen said."""

    driver: object
    profile: Path
    address: str
    flags: Sequence[str] = tuple(FLAGS)
    room_bytes: int = 0
    saved: dict[str, int] = field(default_factory=dict)
    context: object = None
    page: object = None

    def open(self, *screens: str) -> None:
        """Start the browser on its profile and open the page."""
        self.context = self.driver.chromium.launch_persistent_context(  # type: ignore[attr-defined]
            self.profile, executable_path=CHROMIUM, args=list(self.flags), viewport={"width": 390, "height": 844}
        )
        self.context.set_default_timeout(60_000)
        self.context.add_init_script(WATCH)
        self.page = self.context.pages[0]
        self.page.on("console", self._listen)
        if self.room_bytes:
            self.limit(self.room_bytes)
        self.page.goto(f"{self.address}/pocket/")
        self.pass_safety(*screens)

    def limit(self, room_bytes: int) -> None:
        """Let the page's stores hold no more than this; a browser that has looked at a store keeps its older answer."""
        control = self.context.new_cdp_session(self.page)
        control.send("Storage.overrideQuotaForOrigin", {"origin": self.address, "quotaSize": room_bytes})

    def pass_safety(self, *screens: str) -> None:
        """Wait for the first screen; the cautions of the day are read and pressed away."""
        self.page.wait_for_selector(", ".join(f"[data-screen={name}]" for name in ("home", "safety", "red", *screens)))
        if self.page.evaluate("document.body.dataset.screen") == "safety":
            self.page.click("button.first")
            self.page.wait_for_selector("[data-screen=home]")

    def join(self, code: str) -> None:
        """Join the station and hold the whole page for days without a network."""
        self.open("join")
        self.page.fill("#field", code)
        self.page.keyboard.press("Enter")
        self.pass_safety()
        self.page.wait_for_selector("#counts .busy", state="detached")
        self.page.evaluate("navigator.serviceWorker.ready.then(() => true)")

    def count_here(self) -> int:
        """How many notes the page says are on this phone."""
        return int(self.page.inner_text("[data-count=here] b"))

    def write_until(self, tag: str, notes: int, more_s: float) -> None:
        """Write notes on a row until the page has said so many are saved, and a moment longer."""
        before = len(self.saved)
        self.page.fill("#field", tag)
        self.page.keyboard.press("Enter")
        self.page.wait_for_selector("[data-screen=row]")
        self.page.evaluate(f"void ({WRITE})()")
        deadline = time.monotonic() + 60
        while len(self.saved) < before + notes:
            assert time.monotonic() < deadline, "the page saves nothing"
            self.page.wait_for_timeout(5)
        # Not by the browser's clock: the kill must fall anywhere in a write.
        time.sleep(more_s)

    def _listen(self, message: object) -> None:
        text = message.text  # type: ignore[attr-defined]
        if text.startswith("SAVED "):
            told = json.loads(text[6:])
            self.saved[told["id"]] = told["number"]

    def kill(self) -> None:
        """End the browser at once."""
        kill_browser(self.profile)
        with suppress(Exception):
            self.context.close()
        self.context = self.page = None
        # What a dead browser leaves behind to keep others off its profile.
        for name in ("SingletonLock", "SingletonCookie", "SingletonSocket"):
            with suppress(FileNotFoundError):
                (self.profile / name).unlink()

    def wipe(self, folder: str) -> None:
        """What some kills do by themselves: one of the browser's two stores is gone when it opens again."""
        shutil.rmtree(self.profile / "Default" / folder)


@dataclass(frozen=True)
class Told:
    """What came out of a run of kills.

    Parameters
    ----------
    saved, held
        Notes that the screen said were saved, and notes in the station's books at the end.
    lost, doubled
        Of those said to be saved, how many are not in the books; and numbers that stand there twice.
    put_back
        Openings on which the page said that one of its stores had lost notes that the other held.
    """

    kills: int
    saved: int
    held: int
    lost: int
    doubled: int
    put_back: int
    chain_ok: bool


def kill_and_compare(
    driver: object,
    home: Path,
    made: dict[str, object],
    kills: int,
    *,
    seed: int,
    notes: int = 3,
    application: str = APPLICATION,
    wipes: Sequence[str] = (),
) -> Told:
    """Kill the browser so many times while it writes without a network; then send, and read the station's books.

    `home` holds the books, and `made` what they were made with; after each kill the next of `wipes` is taken away.
    """
    server = StationServer(home / "books", application)
    server.start()
    phone = Phone(driver, home / "phone", server.address)
    dice = random.Random(seed)
    put_back = 0
    try:
        phone.join(str(made["code"]))
        server.kill()
        phone.kill()
        for turn in range(kills):
            phone.open()
            put_back += "put back" in phone.page.inner_text("#screen")
            phone.write_until(made["tags"][0], notes, dice.uniform(0.0, 0.06))
            phone.kill()
            if wipes:
                phone.wipe(wipes[turn % len(wipes)])
        server.start()
        phone.open()
        put_back += "put back" in phone.page.inner_text("#screen")
        here = phone.count_here()
        phone.page.wait_for_function(
            "(here) => document.querySelector('[data-count=confirmed] b').textContent === String(here)",
            arg=here,
            timeout=120_000,
        )
        phone.kill()
    finally:
        server.kill()
        if phone.context is not None:
            phone.kill()
    books = json.loads(server.run(READ_BOOKS))
    lost = set(phone.saved) - set(books["ids"])
    doubled = len(books["numbers"]) - len(set(books["numbers"]))
    return Told(kills, len(phone.saved), len(books["ids"]), len(lost), doubled, put_back, books["ok"])
