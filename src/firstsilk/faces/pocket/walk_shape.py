"""Which shape has the field list on its way to a phone?

Additive only: a phone that was made later reads what an older station sends, and the other way round.
"""

from __future__ import annotations

from ninja import Schema


class MaleOut(Schema):
    """A row that gives pollen."""

    tag: str
    number: int


class StepOut(Schema):
    """The next step of a row: a code that the phone words, ears, and numbers of male rows."""

    code: str
    ears: int
    males: list[int]


class TaskOut(Schema):
    """One thing to do on a row today; rank 1 is the most urgent of its kind."""

    do: str
    count: int
    males: list[int]
    days_left: int | None
    rank: int
    again: int


class WindowOut(Schema):
    """Days from which, half and until which a row's silk takes pollen or its pollen is shed; seen, or expected."""

    first: str
    half: str
    last: str
    seen: bool


class BagOut(Schema):
    """A bag with a code that was hung or used in the last days."""

    bag: str
    males: list[str]
    type: str
    hung_on: str
    used_on: str
    used_rows: list[str]


class EarBagOut(Schema):
    """A bag of a row at harvest: its ears, and how many of them were picked and left already."""

    bag: str
    ears: int
    picked: int
    left: int


class PickOut(Schema):
    """A row's ears at harvest: still to pick, in all, noted so far; and when it is ripe."""

    ears: int
    standing: int
    picked: int
    left: int
    left_unknown: int
    ripe_on: str
    is_ripe: bool
    bags: list[EarBagOut]


class WalkRowOut(Schema):
    """One row of the field list."""

    tag: str
    number: int
    field_row: int
    field_col: int
    line: str
    purpose: str
    make: str
    do: str
    next: str
    males: list[MaleOut]
    keep_out_until: str | None
    state: dict[str, int | str | None]
    step: StepOut
    tasks: list[TaskOut]
    silk: WindowOut | None
    shed: WindowOut | None
    pick: PickOut | None = None


class StretchOut(Schema):
    """Row numbers that a team walks for some kinds of task today."""

    team: str
    kinds: list[str]
    rows: list[int]


class WalkOut(Schema):
    """Today's field list."""

    format: int
    station: str
    season: str
    today: str
    rows: list[WalkRowOut]
    cutoff_on: str
    bags: list[BagOut]
    teams: list[StretchOut]
    crates: list[str] = []
