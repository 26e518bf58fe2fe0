"""A stage for the phone page alone: its own files, and a station that gives one field list and takes every note."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from firstsilk.faces.pocket import views
from firstsilk.faces.pocket.views import FOLDER, TYPES
from firstsilk.science.seed.tags import tag_for_serial

TODAY = "2031-07-25"
PAGE = (
    '<!doctype html><html lang="en" data-app="pocket test"><head><meta charset="utf-8"><title>.</title>'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    '<link rel="stylesheet" href="/pocket/own/style.css">'
    '<script type="module" src="/pocket/own/app.js"></script></head><body data-root="/pocket/">'
    '<header id="counts"></header><main id="screen" tabindex="-1"><h1>.</h1></main></body></html>'
)


def make_walk_row(number: int, **given: object) -> dict[str, object]:
    """One row of a field list: a female in silk with shoot bags, in ranges of twenty walked to and fro."""
    range_at, step = divmod(number - 1, 20)
    state = {
        "silk_on": "2031-07-23", "shed_on": None, "shoot_bags": 9, "tassel_bags": 0, "last_tassel_bag_on": None,
        "ears": 2, "ears_pollinated": 2, "spoiled": 0, "ears_wanted": 6,
    }  # fmt: skip
    row: dict[str, object] = {
        "tag": tag_of(number), "number": number, "field_row": range_at + 1,
        "field_col": step + 1 if range_at % 2 == 0 else 20 - step, "line": f"EH-{number:03d}", "purpose": "female",
        "make": "cross", "do": "Pollinate 4 ears.", "next": "pollinated", "males": [], "keep_out_until": None,
        "step": {"code": "pollinate", "ears": 4, "males": []}, "tasks": [],
        "silk": {"first": "2031-07-21", "half": "2031-07-23", "last": "2031-07-29", "seen": True}, "shed": None,
    }  # fmt: skip
    return {**row, **given, "state": {**state, **given.get("state", {})}}  # type: ignore[dict-item]


def make_male_row(number: int, **given: object) -> dict[str, object]:
    """A row that sheds since three days."""
    shed = {"first": "2031-07-20", "half": "2031-07-22", "last": "2031-07-29", "seen": True}
    male = {
        "purpose": "male", "make": "", "next": "tassel_bagged", "silk": None, "shed": shed, "line": f"EH-{number:03d}",
        "step": {"code": "take_pollen", "ears": 0, "males": []}, "do": "Take pollen from here.",
        "state": {"ears": 0, "ears_pollinated": 0, "ears_wanted": 0, "silk_on": None, "shoot_bags": 0},
    }  # fmt: skip
    return make_walk_row(number, **{**male, **given})


def make_walk(rows: list[dict[str, object]], bags: list[dict[str, object]] | None = None) -> dict[str, object]:
    """A field list around these rows."""
    whole = {"format": 1, "station": "eskerholm", "season": "2031", "today": TODAY, "cutoff_on": "2031-08-10"}
    return {**whole, "rows": rows, "bags": bags or []}


def make_demo_walk() -> dict[str, object]:
    """Three ranges: a male in each, every fourth row to pollinate, every seventh to look at, one under a spray."""
    rows = []
    for number in range(1, 61):
        male = (number - 1) // 20 * 20 + 6
        if number == male:
            rows.append(make_male_row(number, tasks=[make_task("tassel_bag", count=3, rank=number // 20 + 1)]))
            continue
        given: dict[str, object] = {"males": [{"tag": tag_of(male), "number": male}], "tasks": []}
        given["step"] = {"code": "pollinate", "ears": 4, "males": [male]}
        if number % 4 == 1:
            given["tasks"] = [make_task("pollinate", count=3, males=[male], days_left=2, rank=number // 4 + 1)]
        if number % 7 == 0:
            silk = {"first": "2031-07-25", "half": "2031-07-27", "last": "2031-08-02", "seen": False}
            given |= {"silk": silk, "state": {"silk_on": None}}
            given["tasks"] = [*given["tasks"], make_task("look", rank=number // 7)]  # type: ignore[misc]
        if number == 33:
            given["keep_out_until"] = "2099-07-25T18:00:00"
        rows.append(make_walk_row(number, **given))
    bag = {
        "bag": BAGS[0],
        "males": [tag_of(6)],
        "type": "cross",
        "hung_on": "2031-07-24",
        "used_on": "",
        "used_rows": [],
    }
    return make_walk(rows, [bag])


def tag_of(number: int) -> str:
    """The tag of a row of `make_walk_row`."""
    return tag_for_serial(5000 + number)


BAGS = [tag_for_serial(900_000 + step) for step in range(12)]
"""Codes printed on bags; the first hangs since last evening over a tassel of row 6."""


def make_task(do: str, **given: object) -> dict[str, object]:
    """One task of a row."""
    return {"do": do, "count": 1, "males": [], "days_left": None, "rank": 1, **given}


class _Station(BaseHTTPRequestHandler):
    """What the phone asks for, from files and from the walk of its server."""

    walk: bytes = b"{}"
    taken: list[dict[str, object]]
    pseudo = False

    def log_message(self, *_: object) -> None:
        """Say nothing."""

    def _give(self, body: bytes, kind: str, status: int = 200) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        self.end_headers()
        self.wfile.write(body)

    def do_GET(self) -> None:
        """The page, one of its files, or the field list."""
        path = FOLDER / Path(self.path).name
        if self.path == "/pocket/":
            self._give(PAGE.encode(), "text/html; charset=utf-8")
        elif self.path == "/pocket/api/v1/walk":
            self._give(self.walk, "application/json")
        elif self.path == "/pocket/sw.js":
            self._give(make_service_worker(), TYPES[".js"])
        elif self.path == "/pocket/manifest.json":
            self._give(b"{}", "application/manifest+json")
        elif self.pseudo and path.name == "words.fr.json":
            self._give(make_pseudo_words(path.read_text("utf-8")), TYPES[".json"])
        elif "/own/" in self.path and path.is_file():
            # Joined as on its way to a phone; a script alone for a test that looks into one.
            self._give(views._read_files().get(path.name) or path.read_bytes(), TYPES[path.suffix])
        else:
            self._give(b"{}", "application/json", 404)

    def do_POST(self) -> None:
        """Join, or notes that are all taken."""
        body = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
        if self.path.endswith("enrol"):
            answer = {"token": "t", "number": 1, "station": "eskerholm", "station_name": "Eskerholm", "today": TODAY,
                      "highest_number": 0}  # fmt: skip
        else:
            self.taken.extend(body["notes"])
            answer = {"format": 1, "stored": [note["id"] for note in body["notes"]], "already": [], "aside": [],
                      "gaps": [], "confirmed_to": 0, "closed_days": [], "server_time": "2031-07-25T06:00:00Z",
                      "highest_number": body["highest_number"]}  # fmt: skip
        self._give(json.dumps(answer).encode(), "application/json")


def make_service_worker() -> bytes:
    """The page's own service worker, with the files that are there."""
    text = (FOLDER.parent.parent / "templates" / "pocket" / "sw.js").read_text("utf-8")
    names = ["/pocket/", "/pocket/manifest.json"]
    names += [f"/pocket/own/{name}" for name in views._read_files()]
    text = text.replace("{% autoescape off %}", "").replace("{% endautoescape %}", "")
    return text.replace("{{ names }}", json.dumps(names)).replace("{{ edition }}", "test").encode()


def make_pseudo_words(text: str) -> bytes:
    """The catalogue two fifths longer, each sentence in brackets: what stands outside of them is in no catalogue."""
    words = json.loads(text)
    return json.dumps({key: f"⟦{_stretch(value)}⟧" for key, value in words.items()}, ensure_ascii=False).encode()


def _stretch(sentence: str) -> str:
    """Two fifths more letters, dealt over the words, as a longer language has longer words; values are left alone."""
    parts = [part if part.startswith("{") or len(part) < 2 else part + part[: -(-2 * len(part) // 5)].lower()
             for part in sentence.split(" ")]  # fmt: skip
    return " ".join(parts)


@contextmanager
def play_station(walk: dict[str, object], pseudo: bool = False) -> Iterator[tuple[str, list[dict[str, object]]]]:
    """Serve the page with this field list; gives the address and the notes that arrive."""
    taken: list[dict[str, object]] = []
    handler = type("Handler", (_Station,), {"walk": json.dumps(walk).encode(), "taken": taken, "pseudo": pseudo})
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/pocket/", taken
    finally:
        server.shutdown()
        server.server_close()
