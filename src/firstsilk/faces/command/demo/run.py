"""What does the playing of a nursery's year hold together: its station, its field, its phones, and who works there?"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import TYPE_CHECKING

from firstsilk import __version__
from firstsilk.invented.crew import Crew, make_crew, send_notes
from firstsilk.invented.drafts import NoteDraft
from firstsilk.invented.people import CREW, LEADER
from firstsilk.invented.season import Field
from firstsilk.work.flowering.devices import enrol_device, open_enrolment
from firstsilk.work.flowering.receive import Receipt, receive_notes
from firstsilk.work.occasion import Occasion

if TYPE_CHECKING:
    from firstsilk.faces.command.demo.play import Year

At = Callable[..., Occasion]
"""An occasion on a day, at an hour, by a person."""
APP = f"firstsilk {__version__}"
CLOCKS_AHEAD_S = (2, -4, -660, 5, 1)
"""How far the clock of each phone is ahead: crew phone 3 is eleven minutes late."""
PHONES = sum(one.phone is not None for one in CREW)


@dataclass(slots=True)
class Run:
    """The nursery of a season as it is played. Grows day by day.

    `held` are notes that a phone could not send in the evening, by phone; `crates` tags of drying crates that are free;
    `sheets` codes of sheets keyed and left over.
    """

    year: Year
    season: str
    at: At
    bring_weather: Callable[[date], None]
    tell: Callable[[str], None]
    field: Field
    crew: Crew
    held: dict[int, list[dict[str, object]]] = field(default_factory=dict)
    crates: list[str] = field(default_factory=list)
    sheets: list[str] = field(default_factory=list)

    def day(self, month: int, day: int) -> date:
        """A day of the season's year."""
        return date(int(self.season), month, day)


def enrol_phones(on: Occasion, seed: int) -> Crew:
    """Let the crew's phones in and the leader's, each by its own code."""
    crew = make_crew(seed, PHONES + 1, ahead_s=CLOCKS_AHEAD_S)
    for number, device in enumerate(crew.devices, 1):
        label = "crew leader" if number == (LEADER.phone or 0) + 1 else f"crew phone {number}"
        enrol_device(open_enrolment(on, label).code, device, on.now)
    return crew


def send(run: Run, on: Occasion, drafts: Iterable[NoteDraft], keep_back: int | None = None) -> None:
    """In the evening each phone meets the network and sends what it holds, some of it twice.

    Parameters
    ----------
    keep_back
        The phone that has no power left and keeps today's notes until it meets the network again.
    """
    local = on.now.replace(tzinfo=None)
    for phone, wires in enumerate(send_notes(run.crew, drafts)):
        run.held.setdefault(phone, []).extend(wires)
        waiting = len(run.held[phone]) if phone == keep_back else 0
        batch = [] if waiting else run.held.pop(phone)
        clock = run.crew.find_clock(phone, local).isoformat(timespec="seconds")
        receipt = receive_notes(
            on, run.crew.devices[phone], batch, clock, run.crew.offset_min, run.crew.taken[phone], APP, waiting
        )
        count_receipt(run, len(batch), receipt)


def count_receipt(run: Run, sent: int, receipt: Receipt) -> None:
    """Add what a phone sent, and what became of it, to the account of the year."""
    for name, count in (("sent", sent), ("stored", len(receipt.stored)), ("aside", len(receipt.aside))):
        run.year.notes[name] = run.year.notes.get(name, 0) + count


def list_days(first: date, last: date, step: int = 1) -> Sequence[date]:
    """Days from one to another, both among them."""
    return [first + timedelta(days=at) for at in range(0, (last - first).days + 1, step)]
