"""What do the proofs of a phone in days without a network share: writing many notes, losing some, reading the books."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.journeys.phone_kills import Phone
from tests.journeys.serving import StationServer

READ_PHONE = (
    "import json\n"
    "from firstsilk.records.models import Device, Note\n"
    "from firstsilk.work.flowering.devices import list_devices\n"
    "from firstsilk.work.flowering.chain import verify_chain\n"
    "from firstsilk.work.occasion import Occasion\n"
    "phone = Device.objects.exclude(token_hash='').get()\n"
    "facts = next(one for one in list_devices(Occasion('eskerholm', None, __import__('datetime').datetime.now("
    "__import__('datetime').UTC))) if one.number == phone.number)\n"
    "notes = Note.objects.filter(device=phone.uuid)\n"
    "print(json.dumps({'numbers': sorted(notes.values_list('device_number', flat=True)), 'gaps': facts.gaps,"
    " 'ahead_s': phone.clock_ahead_s, 'apps': sorted(set(notes.values_list('app', flat=True))),"
    " 'days': sorted({str(day) for day in notes.values_list('taken_on', flat=True)}),"
    " 'app': phone.app, 'waiting': phone.waiting, 'highest': phone.highest_number,"
    " 'ok': verify_chain(Occasion('eskerholm', None, None)).ok}))\n"
)
"""All that the station has of its one phone."""

WRITE_MANY = """
async (count) => {
  // The buttons of one row, pressed as fast as the page says that a note is saved.
  const kinds = ["silk", "silk_not_yet", "shed", "shed_not_yet"];
  for (let turn = 0; turn < count; turn += 1) {
    const old = document.querySelector(".saved");
    document.querySelector(`[data-kind=${kinds[turn % kinds.length]}]`).click();
    while (document.querySelector(".saved") === old || !document.querySelector(".saved")?.textContent) {
      await new Promise((resolve) => setTimeout(resolve, 1));
      if (document.body.dataset.screen === "red") return turn;
    }
  }
  return count;
}
"""

DROP = """
async (numbers) => {
  // Notes vanish from both stores, as no kill was ever seen to do it.
  const gone = (note) => numbers.includes(note.number);
  const folder = await navigator.storage.getDirectory();
  for await (const [name, one] of folder.entries()) {
    if (!name.startsWith("notes-")) continue;
    const lines = (await (await one.getFile()).text()).split("\\n").filter((line) => line);
    const left = lines.filter((line) => !gone(JSON.parse(line.slice(9)).note || {}));
    const writer = await one.createWritable();
    await writer.write(left.map((line) => `${line}\\n`).join(""));
    await writer.close();
  }
  await new Promise((done) => {
    indexedDB.open("firstsilk-pocket").onsuccess = ({ target: { result: database } }) => {
      const work = database.transaction("notes", "readwrite");
      work.objectStore("notes").openCursor().onsuccess = ({ target: { result: cursor } }) => {
        if (!cursor) return;
        if (gone(cursor.value)) cursor.delete();
        cursor.continue();
      };
      work.oncomplete = () => {
        database.close();
        done();
      };
    };
  });
}
"""

EDITIONS = """
async () => {
  // Of which edition is each script that this phone holds and gives?
  const names = performance.getEntriesByType("resource").map((one) => new URL(one.name).pathname);
  const scripts = [...new Set(names)].filter((name) => name.endsWith(".js") && name.includes("/own/"));
  const texts = await Promise.all(scripts.map(async (name) => (await fetch(name)).text()));
  const app = document.documentElement.dataset.app;
  return { app, second: texts.filter((text) => text.includes("the second edition")).length, scripts: texts.length };
}
"""


def open_row(phone: Phone, tag: str) -> None:
    """Open a row by its tag."""
    phone.page.fill("#field", tag)
    phone.page.keyboard.press("Enter")
    phone.page.wait_for_selector("[data-screen=row]")


def write_notes(phone: Phone, tag: str, count: int) -> None:
    """Write so many notes on a row, each said to be saved."""
    open_row(phone, tag)
    assert phone.page.evaluate(WRITE_MANY, count) == count


def shift_clock(phone: Phone, by: timedelta) -> None:
    """Set the phone's clock forward or back; it goes on from there."""
    phone.page.clock.set_system_time(datetime.now(UTC) + by)


def reopen(phone: Phone) -> None:
    """Leave the page and open it again."""
    phone.page.goto("about:blank")
    phone.page.goto(f"{phone.address}/pocket/")
    phone.pass_safety()


def drop_notes(phone: Phone, numbers: list[int]) -> None:
    """Take notes out of both stores while the page is closed."""
    phone.page.goto(f"{phone.address}/pocket/manifest.json")
    phone.page.evaluate(DROP, numbers)


def send_all(phone: Phone) -> str:
    """Press Send until the station has confirmed all; gives what the page then says."""
    here = phone.count_here()
    phone.page.click("#send")
    done = "(here) => document.querySelector('[data-count=confirmed] b').textContent === String(here)"
    phone.page.wait_for_function(done, arg=here, timeout=180_000)
    phone.page.wait_for_selector("#counts .busy", state="detached")
    return str(phone.page.inner_text("#said"))


def read_phone(server: StationServer) -> dict[str, object]:
    """What the station has of its one phone."""
    return dict(json.loads(server.run(READ_PHONE)))


def live_days_offline(phone: Phone, server: StationServer, made: dict[str, object], notes: int, openings: int) -> dict:
    """Three days without a network: so many notes, so many openings, then one sending; gives what the station has."""
    phone.join(str(made["code"]))
    server.kill()
    for turn in range(openings):
        shift_clock(phone, timedelta(days=3 * turn / openings))
        reopen(phone)
        if turn:
            assert phone.count_here() == notes * turn // openings
        write_notes(phone, str(made["tags"][0]), notes * (turn + 1) // openings - notes * turn // openings)
    server.start()
    reopen(phone)
    assert phone.count_here() == notes
    send_all(phone)
    return read_phone(server)


def make_phone(driver: object, folder: Path, server: StationServer) -> Phone:
    """A phone with a store of its own."""
    return Phone(driver, folder / "phone", server.address)
