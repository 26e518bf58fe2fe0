"""How do lots come into the books, with their opening stock and what they were made from?"""

from __future__ import annotations

from firstsilk.records.models import Lot, LotOrigin, Movement
from firstsilk.work.bring.compare import Wish, differing, fill_record
from firstsilk.work.bring.storing import CHUNK, Storing
from firstsilk.work.bring.tables import LotGiven
from firstsilk.work.shelf import take_tags


def store_lots(storing: Storing) -> None:
    """New lots with tags and an opening movement each; what an old one lacked."""
    storing.lots = {lot.name: lot for lot in Lot.objects.filter(station=storing.station).select_related("line")}
    old = [given for given in storing.tables.lots if given.lot in storing.lots]
    new = [given for given in storing.tables.lots if given.lot not in storing.lots]
    tags = take_tags(storing.station, "lot", len(new)) if new else []
    made = [_make_lot(given, tag, storing) for given, tag in zip(new, tags, strict=True)]
    storing.lots.update((lot.name, lot) for lot in Lot.objects.bulk_create(made, batch_size=CHUNK))
    storing.count("lots", new=len(new))
    openings = _read_openings(storing)
    movements = [_open_lot(given, storing) for given in new if given.kernels]
    for given in old:
        movements += _fill_lot(given, openings.get(given.lot), storing)
    Movement.objects.bulk_create(movements, batch_size=CHUNK)
    storing.count("movements", new=len(movements))
    origins = [origin for given in new for origin in _find_origins(given, storing)]
    LotOrigin.objects.bulk_create(origins, batch_size=CHUNK)


def _make_lot(given: LotGiven, tag: str, storing: Storing) -> Lot:
    assert given.year is not None
    return Lot(
        station=storing.station,
        tag=tag,
        name=given.lot,
        line=storing.lines[given.line],
        kind=given.kind or "bulk",
        origin=given.origin,
        origin_text=given.origin_text,
        year=given.year,
        germination_frac=given.germination,
        germination_tested_on=given.germination_tested_on,
        germination_seeds=given.germination_seeds,
        kernel_weight_mg=given.kernel_weight_mg,
        shelf=given.shelf,
        box=given.box,
        slot=given.slot,
    )


def _read_openings(storing: Storing) -> dict[str, int]:
    """Opening kernels of every lot that has an opening movement."""
    openings: dict[str, int] = {}
    found = Movement.objects.filter(station=storing.station, reason="opening").values_list("lot__name", "kernels")
    for name, kernels in found:
        openings[name] = openings.get(name, 0) + kernels
    return openings


def _open_lot(given: LotGiven, storing: Storing) -> Movement:
    assert given.kernels
    return Movement(
        station=storing.station,
        lot=storing.lots[given.lot],
        kernels=given.kernels,
        reason="opening",
        used_for=f"brought with {given.at_file}"[:120],
        moved_on=storing.on.today,
        recorded_at=storing.on.now,
        recorded_by=storing.on.who,
    )


def _fill_lot(given: LotGiven, opening: int | None, storing: Storing) -> list[Movement]:
    """Fill an old lot; return its opening movement if it had none."""
    lot = storing.lots[given.lot]
    columns = ("kind", "origin", "origin_text", "year", "germination_tested_on", "germination_seeds")
    wishes: list[Wish] = [("line", "line", storing.lines[given.line])]
    wishes += [(column, column, getattr(given, column)) for column in columns]
    wishes += [("germination", "germination_frac", given.germination)]
    wishes += [(column, column, getattr(given, column)) for column in ("kernel_weight_mg", "shelf", "box", "slot")]
    what = f"lot {lot.name!r}"
    filled = fill_record(lot, given, wishes, what, storing.findings)
    if filled:
        lot.save(update_fields=filled)
    if opening is not None and given.kernels is not None and opening != given.kernels:
        storing.findings.append(differing(given, "kernels", f"the opening stock of {what}", opening))
    opens = [_open_lot(given, storing)] if opening is None and given.kernels else []
    storing.count_filled("lots", [*filled, *("kernels" for _ in opens)])
    return opens


def _find_origins(given: LotGiven, storing: Storing) -> list[LotOrigin]:
    """The parent lots, in equal shares, where `origin_text` names nothing but lots parted by semicolons."""
    names = [name.strip() for name in given.origin_text.split(";")]
    if given.origin != "lots" or not all(name in storing.lots and name != given.lot for name in names):
        return []
    return [
        LotOrigin(
            station=storing.station,
            lot=storing.lots[given.lot],
            parent_lot=storing.lots[name],
            share_frac=1 / len(names),
        )
        for name in names
    ]
