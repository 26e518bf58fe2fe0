"""How do nursery rows come into the books, and what was seen in them into the notes?"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from firstsilk.records.models import Row, Season
from firstsilk.science.flowering.rows import RowState, read_row_states
from firstsilk.work.bring.compare import Wish, differing, fill_record
from firstsilk.work.bring.storing import CHUNK, Storing
from firstsilk.work.bring.tables import RowGiven
from firstsilk.work.flowering.notes import NoteDraft, read_notes, write_notes
from firstsilk.work.shelf import take_tags

DATED = (("sown", "sown", "sown_on"), ("silk", "silk", "silk_on"), ("shed", "shed", "shed_on"))
COUNTED = (
    ("stand", "stand", "stand"),
    ("ears", "ears_picked", "ears_picked"),
    ("kernels_shelled", "shelled", "kernels"),
)
"""Column, kind of note, and what the state of a row calls it."""

Key = tuple[str, int]


def store_rows(storing: Storing) -> None:
    """Seasons, new rows with tags, what an old row lacked, and a note for each thing seen that no note tells yet."""
    if not storing.tables.rows:
        return
    seasons = _store_seasons(storing)
    found = Row.objects.filter(station=storing.station).select_related("season", "line", "lot")
    there: dict[Key, Row] = {(row.season.name, row.number): row for row in found}
    old = [given for given in storing.tables.rows if _key(given) in there]
    new = [given for given in storing.tables.rows if _key(given) not in there]
    states = _read_states(storing, [there[_key(given)].tag for given in old])
    tags = take_tags(storing.station, "row", len(new)) if new else []
    made = [_make_row(given, seasons[given.season], tag, storing) for given, tag in zip(new, tags, strict=True)]
    Row.objects.bulk_create(made, batch_size=CHUNK)
    storing.count("rows", new=len(new))
    drafts = [draft for given, tag in zip(new, tags, strict=True) for draft in _draft_notes(given, tag, None, storing)]
    for given in old:
        row = there[_key(given)]
        drafts += _fill_row(given, row, states.get(row.tag), storing)
    write_notes(storing.on, drafts, "file")
    storing.count("notes", new=len(drafts))


def _key(given: RowGiven) -> Key:
    assert given.row is not None
    return given.season, given.row


def _store_seasons(storing: Storing) -> dict[str, Season]:
    seasons = {season.name: season for season in Season.objects.filter(station=storing.station)}
    for name in sorted({given.season for given in storing.tables.rows}):
        if name not in seasons:
            seasons[name] = Season.objects.create(
                station=storing.station, name=name, year=int(name[:4]), site=storing.home
            )
            storing.count("seasons", new=1)
    return seasons


def _read_states(storing: Storing, tags: list[str]) -> dict[str, RowState]:
    return read_row_states(read_notes(storing.on, tags)) if tags else {}


def _make_row(given: RowGiven, season: Season, tag: str, storing: Storing) -> Row:
    number, across, along = given.row, given.field_row, given.field_col
    assert number is not None
    assert across is not None
    assert along is not None
    return Row(
        station=storing.station,
        season=season,
        tag=tag,
        number=number,
        field_row=across,
        field_col=along,
        line=storing.lines[given.line],
        lot=storing.lots[given.lot] if given.lot else None,
        purpose=given.purpose or "self",
        kernels=given.kernels or 0,
    )


def _fill_row(given: RowGiven, row: Row, state: RowState | None, storing: Storing) -> list[NoteDraft]:
    wishes: list[Wish] = [
        ("field_row", "field_row", given.field_row),
        ("field_col", "field_col", given.field_col),
        ("line", "line", storing.lines[given.line]),
        ("lot", "lot", storing.lots[given.lot] if given.lot else None),
        ("purpose", "purpose", given.purpose),
        ("kernels", "kernels", given.kernels),
    ]
    what = f"row {row.number} of season {row.season.name}"
    filled = fill_record(row, given, wishes, what, storing.findings)
    if filled:
        row.save(update_fields=filled)
    drafts = list(_draft_notes(given, row.tag, state, storing))
    storing.count_filled("rows", [*filled, *(draft.kind for draft in drafts)])
    return drafts


def _draft_notes(given: RowGiven, tag: str, state: RowState | None, storing: Storing) -> Iterator[NoteDraft]:
    """A note for each thing seen that the notes do not tell; a finding for each that they tell otherwise."""
    what = f"row {given.row} of season {given.season}"
    for column, kind, name in DATED:
        seen: date | None = getattr(given, column)
        have: date | None = getattr(state, name) if state else None
        if seen is None or seen == have:
            continue
        if have is not None:
            storing.findings.append(differing(given, column, what, have))
            continue
        early = seen > storing.on.today
        yield NoteDraft(
            kind=kind,
            tag=tag,
            value=seen.isoformat(),
            taken_local=f"{seen.isoformat()}T12:00:00",
            doubt="in_future" if early else "",
            doubt_reason=f"brought on {storing.on.today}, before that day" if early else "",
        )
    for column, kind, name in COUNTED:
        count: int | None = getattr(given, column)
        counted: int | None = getattr(state, name) if state else None
        if count is None or count == counted:
            continue
        if counted:
            storing.findings.append(differing(given, column, what, counted))
            continue
        yield NoteDraft(kind=kind, tag=tag, value=str(count))
