"""Which crosses does a written pedigree stand for?

The cross notation of Purdy and others (1968): the female stands left. ``/`` is the first cross, ``//`` or ``/2/`` the
second, ``/3/`` the third; the highest number is the last cross made. ``*n`` beside the recurrent parent counts its
doses: ``A*3/B`` is A x (A x (A x B)), a second backcross. Round brackets are allowed. Each hyphen is a generation
advance (see `advances`): behind a name it stays part of the name (``B-3-1``), behind a bracket it advances the cross in
it: ``(A/B)-3-1-B``.

Two crosses of equal order side by side (``A/B/C``) are read as "order unknown" and refused: no tree, no shares.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NoReturn

from firstsilk.science.lineage.advances import Advance, read_advance
from firstsilk.science.lineage.notation_signs import Token, refuse_advance, refuse_at, split_hyphens, split_signs
from firstsilk.science.lineage.trees import Advanced, Cross, Tree, advance_tree, find_shares, write_pedigree

__all__ = ["Advanced", "Cross", "Tree", "advance_tree", "find_shares", "parse_pedigree", "write_pedigree"]

DOSES_MAX = 99
DEPTH_MAX = 150
NAMES_MAX = 4096


@dataclass(frozen=True, slots=True)
class _Part:
    """A side of a cross: its tree, the orders it may count as, how deep and how large it is, and its doses."""

    tree: Tree
    order_low: int
    order_high: int
    depth: int
    names: int
    doses: int = 1
    at: int = 0
    star_at: int = 0  # where a bulk or increase of several generations ends it, that could be taken for doses


def parse_pedigree(text: str) -> Tree:
    """Read a written pedigree into a tree of crosses.

    Parameters
    ----------
    text
        The pedigree, e.g. ``A*2/B//C``. Blanks around separators do not count.

    Returns
    -------
    Tree
        A name, a `Cross` of two trees, female first, or an `Advanced` cross.

    Raises
    ------
    InputRefused
        Names the character and the reason: a side missing, an order skipped or used twice, brackets that do not
        close, doses that are no number from 2 to 99, a sign that no name may hold, a hyphen that no generation advance
        follows, a pedigree too deep to be meant.

    Notes
    -----
    The last cross of a text is its separator of highest order; that order must be one more than the highest order on
    its two sides. Brackets may restart the count or go on with it: ``(A/B)/C`` and ``(A/B)//C`` are the same cross.
    A name made of digits alone is written in brackets, ``(5)``, where it could be taken for an order. Beside a cross
    ``B-B*2`` could be a bulk of two generations or two doses of B-B, so brackets must tell: ``(B-B*2)/C``,
    ``(B-B)*2/C``.

    References
    ----------
    Purdy, Loegering, Konzak, Peterson & Allan 1968, A proposed standard method for illustrating pedigrees of small
    grain varieties, Crop Science 8:405-406.

    Checked by
    ----------
    tests/outside/test_lineage.py, tests/properties/test_pedigree_laws.py
    """
    reader = _Reader(text, split_signs(text))
    part = reader.read_crosses(0)
    left_over = reader.peek()
    if left_over is not None:
        refuse_at(text, left_over.at, "bracket_not_opened", "this bracket was never opened", "Remove it or open it.")
    if part.doses > 1:
        refuse_at(text, part.at, "doses_without_cross", "doses are counted, but there is no cross", "Write A*2/B.")
    return part.tree


class _Reader:
    """Walks the tokens once; each method reads one rule of the notation."""

    __slots__ = ("at", "text", "tokens")

    def __init__(self, text: str, tokens: list[Token]) -> None:
        self.text = text
        self.tokens = tokens
        self.at = 0

    def peek(self, ahead: int = 0) -> Token | None:
        return self.tokens[self.at + ahead] if self.at + ahead < len(self.tokens) else None

    def read_crosses(self, depth: int) -> _Part:
        sides = [self.read_side(depth)]
        orders: list[Token] = []
        while (token := self.peek()) is not None and token.kind == "order":
            self.at += 1
            orders.append(token)
            sides.append(self.read_side(depth))
        for side in sides if orders else ():
            if side.star_at:
                reason = "this may count generations of a bulk or doses of a parent"
                self.refuse(side.star_at, "bulk_or_doses", reason, "Use brackets: (A-B*2)/C, or (A-B)*2/C for doses.")
        return _join(self.text, sides, orders)

    def read_side(self, depth: int) -> _Part:
        first, star = self.peek(), self.peek(1)
        doses, doses_at = 1, 0
        if first is not None and first.kind == "name" and first.is_digits and star is not None and star.kind == "star":
            after = self.peek(2)
            if after is not None and after.kind == "name" and after.is_digits:
                self.refuse(
                    first.at, "doses_unclear", f"{first.text}*{after.text} may be read two ways", _BRACKET_DIGITS
                )
            doses, doses_at = self.doses(first), first.at
            self.at += 2
        part = self.read_parent(depth)
        token = self.peek()
        if token is not None and token.kind == "star":
            if doses > 1:
                self.refuse(token.at, "doses_twice", "the doses of this parent are counted twice", "Keep one *n.")
            self.at += 1
            doses, doses_at = self.doses(self.peek(), token.at), token.at
            self.at += 1
            token = self.peek()
        if token is not None and token.kind in ("name", "open", "star"):
            self.refuse_next(token)
        return replace(part, doses=doses, at=doses_at)

    def read_parent(self, depth: int) -> _Part:
        token = self.peek()
        if token is None or token.kind in ("order", "close", "star"):
            at = len(self.text) + 1 if token is None else token.at
            self.refuse(at, "parent_missing", "a parent is missing here", "Write a name on both sides of each cross.")
        self.at += 1
        if token.kind == "name":
            if token.text.startswith("-"):
                reason = "a hyphen is a generation advance, and there is nothing to advance"
                self.refuse(token.at, "advance_of_nothing", reason, "Write a name or a cross in brackets before it.")
            return _Part(token.text, 0, 0, 0, 1, star_at=token.star_at)
        if depth >= DEPTH_MAX:
            self.refuse(token.at, "pedigree_too_deep", "the brackets are nested too deep", "Name the inner crosses.")
        inner = self.read_crosses(depth + 1)
        closing = self.peek()
        if closing is None or closing.kind != "close":
            self.refuse(token.at, "bracket_not_closed", "this bracket is never closed", "Close it with ).")
        self.at += 1
        if inner.doses > 1:
            self.refuse(inner.at, "doses_without_cross", "doses are counted, but there is no cross", "Write A*2/B.")
        advanced = self.peek()
        if advanced is None or advanced.kind != "name" or not advanced.text.startswith("-"):
            return _Part(inner.tree, 0, inner.order_high, inner.depth, inner.names)
        self.at += 1
        tree = advance_tree(inner.tree, self.read_advances(advanced))
        return _Part(tree, 0, inner.order_high, inner.depth, inner.names, star_at=advanced.star_at)

    def read_advances(self, token: Token) -> list[Advance]:
        steps: list[Advance] = []
        for at, part in split_hyphens(token):
            step = read_advance(part)
            if step is None:
                refuse_advance(self.text, at, part)
            steps.append(step)
        return steps

    def doses(self, token: Token | None, star_at: int = 0) -> int:
        if token is None or token.kind != "name" or not token.is_digits:
            self.refuse(star_at, "doses_no_number", "a number of doses is missing beside *", "Write A*2/B.")
        if len(token.text) > 2 or not 2 <= int(token.text) <= DOSES_MAX:
            reason = f"{token.text} is no number of doses from 2 to {DOSES_MAX}"
            self.refuse(token.at, "doses_out_of_range", reason, "One dose is a plain cross: leave *1 out.")
        return int(token.text)

    def refuse_next(self, token: Token) -> NoReturn:
        if token.kind == "star":
            self.refuse(token.at, "doses_twice", "the doses of this parent are counted twice", "Keep one *n.")
        self.refuse(token.at, "separator_missing", "a separator is missing before this", "Write / between two parents.")

    def refuse(self, at: int, code: str, reason: str, yes_if: str) -> NoReturn:
        refuse_at(self.text, at, code, reason, yes_if)


_BRACKET_DIGITS = "Put the name that is a number in brackets: (5)*3."


def _join(text: str, sides: list[_Part], orders: list[Token]) -> _Part:
    """One part out of sides and the separators between them, the last cross at the top."""
    if not orders:
        return sides[0]
    last = max(orders, key=lambda token: token.order)
    same = [place for place, token in enumerate(orders) if token.order == last.order]
    if len(same) > 1:
        second = orders[same[1]]
        refuse_at(
            text,
            second.at,
            "cross_order_unknown",
            f"two crosses of order {last.order} stand side by side, so it is not known which was made first",
            "Number the later cross higher, e.g. A/B//C, or use brackets.",
        )
    cut = same[0]
    female = _join(text, sides[: cut + 1], orders[:cut])
    male = _join(text, sides[cut + 1 :], orders[cut + 1 :])
    low, high = max(female.order_low, male.order_low), max(female.order_high, male.order_high)
    if not low + 1 <= last.order <= high + 1:
        reason = f"{last.text} is cross {last.order}, but the highest cross beside it is {high}"
        refuse_at(
            text, last.at, "cross_order_skipped", reason, f"Write cross {high + 1} here, or the crosses left out."
        )
    return _crossed(text, female, male, last)


def _crossed(text: str, female: _Part, male: _Part, last: Token) -> _Part:
    if female.doses > 1 and male.doses > 1:
        refuse_at(
            text, last.at, "two_recurrents", "both sides of this cross count doses", "Only one parent is recurrent."
        )
    doses = max(female.doses, male.doses)
    recurrent, donor = (male, female) if male.doses > 1 else (female, male)
    depth = max(recurrent.depth + 1, donor.depth + doses)
    names = recurrent.names * doses + donor.names
    if depth > DEPTH_MAX or names > NAMES_MAX:
        refuse_at(
            text, last.at, "pedigree_too_deep", "this pedigree is too deep to be meant", "Name the inner crosses."
        )
    tree = donor.tree
    for _ in range(doses):
        tree = Cross(tree, recurrent.tree) if male.doses > 1 else Cross(recurrent.tree, tree)
    return _Part(tree, last.order, last.order, depth, names)
