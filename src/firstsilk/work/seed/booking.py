"""How is a new lot named, and a movement written down?"""

from __future__ import annotations

from firstsilk.answers import refuse
from firstsilk.records.models import Lot, Movement, Station
from firstsilk.work.occasion import Occasion

LONGEST_NAME = 60
MOST_KERNELS = 50_000_000
"""More kernels in one go than this are a slip of the keyboard: some 12 tonnes (a choice of ours)."""


def add_movement(on: Occasion, lot: Lot, kernels: int, reason: str, used_for: str = "") -> None:
    """Write down kernels into (positive) or out of (negative) a lot; call inside a transaction."""
    Movement.objects.create(
        station=lot.station,
        lot=lot,
        kernels=kernels,
        reason=reason,
        used_for=used_for[:120],
        moved_on=on.today,
        recorded_at=on.now,
        recorded_by=on.who,
    )


def check_lot_name(station: Station, name: str) -> None:
    """Refuse a name that a new lot cannot have: empty, taken or too long."""
    if not name or Lot.objects.filter(station=station, name=name).exists():
        raise refuse("lot_name_taken", f"The lot name {name!r} is empty or taken.", "Choose another name.")
    if len(name) > LONGEST_NAME:
        raise refuse(
            "lot_name_long", f"The lot name {name[:40]!r}... is too long.", f"Use {LONGEST_NAME} signs or fewer."
        )
