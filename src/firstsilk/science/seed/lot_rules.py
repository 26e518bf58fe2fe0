"""Which lots of the books cannot hold, or cannot be, what their records say?

Rules on stock and origin. Values in, values out; a rule never changes anything.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from firstsilk.answers import Finding, Place

SHARE_ROUNDING = 0.01
"""Shares that add up to 1 within this are taken to do so: thirds are written with two decimals."""


@dataclass(frozen=True, slots=True)
class OriginFacts:
    """One thing that a lot came from: a row with its line and the male row's line, or a parent lot; empty if none."""

    row: str = ""
    row_line: str = ""
    male_line: str = ""
    parent_lot: str = ""
    share_frac: float = 1.0


@dataclass(frozen=True, slots=True)
class LotFacts:
    """A lot as its records have it. `moves` are (day, kernels, reason); `promised` the kernels reserved and not taken.

    `line_mother` and `line_father` are the parents of the lot's line, `line_method` how it was made.
    """

    name: str
    line: str
    origin: str
    moves: tuple[tuple[date, int, str], ...]
    promised: int = 0
    origin_text: str = ""
    origins: tuple[OriginFacts, ...] = ()
    line_method: str = ""
    line_mother: str = ""
    line_father: str = ""


def check_lot(lot: LotFacts) -> tuple[Finding, ...]:
    """What cannot be, is unlikely or is not told about one lot.

    Parameters
    ----------
    lot
        The lot with its movements up to the day.

    Returns
    -------
    tuple of Finding
        Never stopping.

    Notes
    -----
    A lot never holds less than nothing: movements are added day by day, what comes in on a day before what goes out.
    A harvested lot names its row; its line is the row's line or has it for a parent, and the male row's line is the
    father's.

    Checked by
    ----------
    tests/science/test_audit_rules.py
    """
    return (*_check_stock(lot), *_check_origin(lot))


def _check_stock(lot: LotFacts) -> Iterator[Finding]:
    stock, lowest, on = 0, 0, None
    for day, kernels, _ in sorted(lot.moves, key=lambda move: (move[0], move[1] < 0)):
        stock += kernels
        if stock < lowest:
            lowest, on = stock, day
    if on is not None:
        told = f"{-lowest} kernels more were taken by {on} than it held"
        yield _odd("lot_overdrawn", told, lot, "kernels", str(lowest), "Count the lot, or look for seed of another lot")
    elif lot.promised > stock:
        told = f"{lot.promised} kernels are promised, and it holds {stock}"
        yield _odd(
            "lot_overpromised", told, lot, "promised", str(lot.promised), "Take a promise back, or count the lot"
        )


def _check_origin(lot: LotFacts) -> Iterator[Finding]:
    rows = [one for one in lot.origins if one.row]
    if any(reason == "harvested" for _, _, reason in lot.moves) and not rows:
        told = "harvested here, and no row is named that it came from"
        yield _odd("lot_without_row", told, lot, "origin", lot.origin, "Find its row in the harvest notes")
    elif lot.origin in ("ears", "rows", "pollinations", "lots") and not lot.origins and not lot.origin_text:
        told = f"said to come from {lot.origin}, and none is named"
        yield _odd("lot_without_origin", told, lot, "origin", lot.origin, "Write what it came from")
    for one in rows:
        yield from _check_row(lot, one)
    shares = sum(one.share_frac for one in lot.origins)
    if len(lot.origins) > 1 and abs(shares - 1.0) > SHARE_ROUNDING:
        told = f"the shares of the {len(lot.origins)} things it came from add up to {shares:.2f}"
        yield _odd("shares_not_one", told, lot, "share", f"{shares:.2f}", "Write shares that add up to 1")


def _check_row(lot: LotFacts, one: OriginFacts) -> Iterator[Finding]:
    if one.row_line not in (lot.line, lot.line_mother, lot.line_father):
        told = f"of line {lot.line}, but from {one.row}, which is sown with {one.row_line}"
        yield _odd("lot_not_of_its_row", told, lot, "line", lot.line, "Correct the line, or the row it came from")
    elif _is_cross_on(lot, one) and one.male_line != lot.line_father:
        told = f"its line has the father {lot.line_father}, but the pollen came from {one.male_line}"
        repair = "Correct the father, or the male of the pollination notes"
        yield _odd("lot_of_another_father", told, lot, "father", one.male_line, repair)


def _is_cross_on(lot: LotFacts, one: OriginFacts) -> bool:
    """Whether the lot is a cross made on a row of its mother, and both fathers are told."""
    told = bool(one.male_line and lot.line_father)
    return told and lot.line_method == "cross" and one.row_line == lot.line_mother


def check_lots(lots: Sequence[LotFacts]) -> tuple[tuple[str, Finding], ...]:
    """As `check_lot`, for many: (name of the lot, Finding) in their order.

    Checked by
    ----------
    tests/science/test_audit_rules.py
    """
    return tuple((lot.name, one) for lot in lots for one in check_lot(lot))


def _odd(code: str, told: str, lot: LotFacts, column: str, value: str, repair: str) -> Finding:
    return Finding(code, told, Place(f"lot {lot.name}", None, column), value, repair, stops=False)
