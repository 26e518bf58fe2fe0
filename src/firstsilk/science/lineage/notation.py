"""Which crosses does a written pedigree stand for?

The cross notation of Purdy and others (1968): the female stands left. ``/`` is the first cross, ``//`` or ``/2/`` the
second, ``/3/`` the third; the highest number is the last cross made. ``*n`` beside the recurrent parent counts its
doses: ``A*3/B`` is A x (A x (A x B)), a second backcross. Round brackets are allowed. The ear numbers of ear-to-row
selfing (``B-3-1``) stay part of a name: each hyphen is a generation of that line, not a cross.

Two crosses of equal order side by side (``A/B/C``) are read as "order unknown" and refused: no tree, no shares.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import NoReturn, TypeAlias

from firstsilk.answers import refuse

ORDER_MAX = 99
DOSES_MAX = 99
DEPTH_MAX = 150
NAMES_MAX = 4096

_SEPARATOR = re.compile(r"/([0-9]+)/(?!/)|/+")
_NAME = re.compile(r"[^/*()]+")
_NEVER_IN_A_NAME = ";[]{}×"


@dataclass(frozen=True, slots=True)
class Cross:
    """One cross: the female's tree and the male's tree."""

    female: Tree
    male: Tree


Tree: TypeAlias = "str | Cross"


@dataclass(frozen=True, slots=True)
class _Token:
    kind: str  # name, order, star, open, close
    text: str
    at: int  # character, from 1
    order: int = 0


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


def parse_pedigree(text: str) -> Tree:
    """Read a written pedigree into a tree of crosses.

    Parameters
    ----------
    text
        The pedigree, e.g. ``A*2/B//C``. Blanks around separators do not count.

    Returns
    -------
    Tree
        A name, or a `Cross` of two trees, female first.

    Raises
    ------
    InputRefused
        Names the character and the reason: a side missing, an order skipped or used twice, brackets that do not
        close, doses that are no number from 2 to 99, a sign that no name may hold, a pedigree too deep to be meant.

    Notes
    -----
    The last cross of a text is its separator of highest order; that order must be one more than the highest order on
    its two sides. Brackets may restart the count or go on with it: ``(A/B)/C`` and ``(A/B)//C`` are the same cross.
    A name made of digits alone is written in brackets, ``(5)``, where it could be taken for an order.

    References
    ----------
    Purdy, Loegering, Konzak, Peterson & Allan 1968, A proposed standard method for illustrating pedigrees of small
    grain varieties, Crop Science 8:405-406.

    Checked by
    ----------
    tests/outside/test_lineage.py, tests/properties/test_pedigree_laws.py
    """
    reader = _Reader(text, _split(text))
    part = reader.read_crosses(0)
    left_over = reader.peek()
    if left_over is not None:
        _no(text, left_over.at, "bracket_not_opened", "this bracket was never opened", "Remove it or open it.")
    if part.doses > 1:
        _no(text, part.at, "doses_without_cross", "doses are counted, but there is no cross", "Write A*2/B.")
    return part.tree


def write_pedigree(tree: Tree) -> str:
    """Write a tree in its one normal form.

    Parameters
    ----------
    tree
        A name or a `Cross`.

    Returns
    -------
    str
        ``/``, ``//``, then ``/3/`` and so on; repeated crosses to one name as doses (``A*3/B``, ``A/B*3``); no
        brackets, except round a name of digits alone.

    Notes
    -----
    Equal trees have equal normal forms, and reading the normal form gives the tree back.

    Checked by
    ----------
    tests/properties/test_pedigree_laws.py
    """
    return _written(tree)[0]


def find_shares(tree: Tree) -> dict[str, Fraction]:
    """The expected share of each founder in a tree, in order of first appearance; the shares sum to 1.

    Parameters
    ----------
    tree
        A name or a `Cross`.

    Returns
    -------
    dict
        Founder to share [fraction of the genome, 0 to 1], exact.

    Notes
    -----
    Each cross halves; selfing changes nothing in expectation.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    shares: dict[str, Fraction] = {}
    stack: list[tuple[Tree, Fraction]] = [(tree, Fraction(1))]
    while stack:
        node, share = stack.pop()
        if isinstance(node, str):
            shares[node] = shares.get(node, Fraction(0)) + share
        else:
            stack += [(node.male, share / 2), (node.female, share / 2)]
    return shares


def _no(text: str, at: int, code: str, reason: str, yes_if: str) -> NoReturn:
    shown = text if len(text) <= 80 else text[:77] + "..."
    raise refuse(code, f"pedigree {shown!r}, character {at}: {reason}", yes_if, position=at)


def _split(text: str) -> list[_Token]:
    tokens: list[_Token] = []
    at = 0
    while at < len(text):
        sign = text[at]
        if sign == "/":
            found = _SEPARATOR.match(text, at)
            assert found is not None
            tokens.append(_Token("order", found[0], at + 1, _order(text, at + 1, found)))
            at = found.end()
        elif sign in "*()":
            tokens.append(_Token({"*": "star", "(": "open", ")": "close"}[sign], sign, at + 1))
            at += 1
        else:
            found = _NAME.match(text, at)
            assert found is not None
            if found[0].strip():
                tokens.append(_name(text, at, found[0]))
            at = found.end()
    if not tokens:
        _no(text, 1, "pedigree_empty", "there is no pedigree", "Write a name or a cross such as A/B.")
    return tokens


def _order(text: str, at: int, found: re.Match[str]) -> int:
    digits = found[1]
    order = len(found[0]) if digits is None else int(digits) if len(digits) < 4 else ORDER_MAX + 1
    if not 1 <= order <= ORDER_MAX:
        _no(text, at, "order_out_of_range", f"{found[0]} is no order from 1 to {ORDER_MAX}", "Number crosses from 1.")
    return order


def _name(text: str, start: int, found: str) -> _Token:
    at = start + 1 + len(found) - len(found.lstrip())
    for offset, sign in enumerate(found):
        if sign in _NEVER_IN_A_NAME or not (sign.isprintable() or sign == "\t"):
            _no(
                text,
                start + 1 + offset,
                "sign_not_allowed",
                f"{sign!r} cannot stand in a pedigree",
                "Use / for a cross, round brackets, and names without ; and square brackets.",
            )
    if re.search(r"\s[xX]\s", found):
        _no(text, at, "cross_written_x", "an x between blanks looks like a cross", "Write A/B for A x B.")
    return _Token("name", " ".join(found.split()), at)


class _Reader:
    """Walks the tokens once; each method reads one rule of the notation."""

    __slots__ = ("at", "text", "tokens")

    def __init__(self, text: str, tokens: list[_Token]) -> None:
        self.text = text
        self.tokens = tokens
        self.at = 0

    def peek(self, ahead: int = 0) -> _Token | None:
        return self.tokens[self.at + ahead] if self.at + ahead < len(self.tokens) else None

    def read_crosses(self, depth: int) -> _Part:
        sides = [self.read_side(depth)]
        orders: list[_Token] = []
        while (token := self.peek()) is not None and token.kind == "order":
            self.at += 1
            orders.append(token)
            sides.append(self.read_side(depth))
        return _join(self.text, sides, orders)

    def read_side(self, depth: int) -> _Part:
        first, star = self.peek(), self.peek(1)
        doses, doses_at = 1, 0
        if (
            first is not None
            and first.kind == "name"
            and _is_digits(first)
            and star is not None
            and star.kind == "star"
        ):
            after = self.peek(2)
            if after is not None and after.kind == "name" and _is_digits(after):
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
        return _Part(part.tree, part.order_low, part.order_high, part.depth, part.names, doses, doses_at)

    def read_parent(self, depth: int) -> _Part:
        token = self.peek()
        if token is None or token.kind in ("order", "close", "star"):
            at = len(self.text) + 1 if token is None else token.at
            self.refuse(at, "parent_missing", "a parent is missing here", "Write a name on both sides of each cross.")
        self.at += 1
        if token.kind == "name":
            return _Part(token.text, 0, 0, 0, 1)
        if depth >= DEPTH_MAX:
            self.refuse(token.at, "pedigree_too_deep", "the brackets are nested too deep", "Name the inner crosses.")
        inner = self.read_crosses(depth + 1)
        closing = self.peek()
        if closing is None or closing.kind != "close":
            self.refuse(token.at, "bracket_not_closed", "this bracket is never closed", "Close it with ).")
        self.at += 1
        if inner.doses > 1:
            self.refuse(inner.at, "doses_without_cross", "doses are counted, but there is no cross", "Write A*2/B.")
        return _Part(inner.tree, 0, inner.order_high, inner.depth, inner.names)

    def doses(self, token: _Token | None, star_at: int = 0) -> int:
        if token is None or token.kind != "name" or not _is_digits(token):
            self.refuse(star_at, "doses_no_number", "a number of doses is missing beside *", "Write A*2/B.")
        if len(token.text) > 2 or not 2 <= int(token.text) <= DOSES_MAX:
            reason = f"{token.text} is no number of doses from 2 to {DOSES_MAX}"
            self.refuse(token.at, "doses_out_of_range", reason, "One dose is a plain cross: leave *1 out.")
        return int(token.text)

    def refuse_next(self, token: _Token) -> NoReturn:
        if token.kind == "star":
            self.refuse(token.at, "doses_twice", "the doses of this parent are counted twice", "Keep one *n.")
        if token.kind == "name" and token.text.startswith("-"):
            reason = "ear numbers can follow a name only, not a bracket"
            self.refuse(token.at, "ears_after_bracket", reason, "Give the family a name, or leave the ear numbers out.")
        self.refuse(token.at, "separator_missing", "a separator is missing before this", "Write / between two parents.")

    def refuse(self, at: int, code: str, reason: str, yes_if: str) -> NoReturn:
        _no(self.text, at, code, reason, yes_if)


_BRACKET_DIGITS = "Put the name that is a number in brackets: (5)*3."


def _is_digits(token: _Token) -> bool:
    return token.text.isascii() and token.text.isdigit()


def _join(text: str, sides: list[_Part], orders: list[_Token]) -> _Part:
    """One part out of sides and the separators between them, the last cross at the top."""
    if not orders:
        return sides[0]
    last = max(orders, key=lambda token: token.order)
    same = [place for place, token in enumerate(orders) if token.order == last.order]
    if len(same) > 1:
        second = orders[same[1]]
        _no(
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
        _no(text, last.at, "cross_order_skipped", reason, f"Write cross {high + 1} here, or the crosses left out.")
    return _crossed(text, female, male, last)


def _crossed(text: str, female: _Part, male: _Part, last: _Token) -> _Part:
    if female.doses > 1 and male.doses > 1:
        _no(text, last.at, "two_recurrents", "both sides of this cross count doses", "Only one parent is recurrent.")
    doses = max(female.doses, male.doses)
    recurrent, donor = (male, female) if male.doses > 1 else (female, male)
    depth = max(recurrent.depth + 1, donor.depth + doses)
    names = recurrent.names * doses + donor.names
    if depth > DEPTH_MAX or names > NAMES_MAX:
        _no(text, last.at, "pedigree_too_deep", "this pedigree is too deep to be meant", "Name the inner crosses.")
    tree = donor.tree
    for _ in range(doses):
        tree = Cross(tree, recurrent.tree) if male.doses > 1 else Cross(recurrent.tree, tree)
    return _Part(tree, last.order, last.order, depth, names)


def _written(tree: Tree) -> tuple[str, int]:
    """The normal form of a tree and the order of its last cross."""
    if isinstance(tree, str):
        return (f"({tree})" if tree.isascii() and tree.isdigit() else tree), 0
    doses, recurrent, donor = _doses_of(tree)
    one, one_order = _written(recurrent)
    other, other_order = _written(donor)
    order = max(one_order, other_order) + 1
    separator = "/" * order if order < 3 else f"/{order}/"
    if doses > 1:
        one += f"*{doses}"
    if recurrent is tree.male:
        return other + separator + one, order
    return one + separator + other, order


def _doses_of(tree: Cross) -> tuple[int, Tree, Tree]:
    """How often one name was crossed in succession, that recurrent side, and the donor; 1 if it is a plain cross."""
    doses = 0
    rest: Tree = tree
    if isinstance(tree.male, str) and not isinstance(tree.female, str):
        while isinstance(rest, Cross) and rest.male == tree.male:
            doses, rest = doses + 1, rest.female
        return doses, tree.male, rest
    if isinstance(tree.female, str):
        while isinstance(rest, Cross) and rest.female == tree.female:
            doses, rest = doses + 1, rest.male
        return doses, tree.female, rest
    return 1, tree.female, tree.male
