"""What is a pedigree once it is read, and how is it written again?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import TypeAlias

from firstsilk.science.lineage.advances import Advance, NameParts, join_name, merge_advances, split_name


@dataclass(frozen=True, slots=True)
class Cross:
    """One cross: the female's tree and the male's tree."""

    female: Tree
    male: Tree


@dataclass(frozen=True, slots=True)
class Advanced:
    """A cross in brackets that was advanced, in the steps behind the bracket: ``(A/B)-3-1``."""

    source: Tree
    advances: tuple[Advance, ...]


Tree: TypeAlias = "str | Cross | Advanced"


def write_pedigree(tree: Tree) -> str:
    """Write a tree in its one normal form.

    Parameters
    ----------
    tree
        A name, a `Cross` or an `Advanced` cross.

    Returns
    -------
    str
        ``/``, ``//``, then ``/3/`` and so on; repeated crosses to one name as doses (``A*3/B``, ``A/B*3``); no
        brackets, except round an advanced cross, a name of digits alone, and what could be taken for doses.

    Notes
    -----
    Equal trees have equal normal forms, and reading the normal form gives the tree back.

    Checked by
    ----------
    tests/properties/test_pedigree_laws.py
    """
    return _written(tree)[0]


def advance_tree(tree: Tree, advances: Iterable[Advance]) -> Tree:
    """What a name or cross becomes by these advances, as the one tree that reading its normal form gives.

    Parameters
    ----------
    tree
        A name, a `Cross` or an `Advanced` cross.
    advances
        The steps; none leaves the tree as it is.

    Returns
    -------
    Tree
        A name keeps its advances in it (``EK12-3``), a cross becomes an `Advanced` one.

    Checked by
    ----------
    tests/properties/test_ear_to_row_laws.py
    """
    steps = tuple(advances)
    if not steps:
        return tree
    if isinstance(tree, Cross):
        return Advanced(tree, merge_advances(steps))
    if isinstance(tree, Advanced):
        return advance_tree(tree.source, (*tree.advances, *steps))
    parts = split_name(tree)
    steps = merge_advances((*parts.advances, *steps))
    joined = join_name(parts.source, steps)
    # The number 31 with ears 412 and 7 would be read as a packet: year 31, row 412, plant 7.
    is_clear = split_name(joined) == NameParts(parts.source, steps, parts.is_packet)
    return joined if is_clear else Advanced(parts.source, steps)


def split_tree(tree: Tree) -> tuple[Tree, tuple[Advance, ...], bool]:
    """A pedigree without its last advances, these, and whether what stays is a packet (year-row-plant).

    Checked by
    ----------
    tests/properties/test_ear_to_row_laws.py
    """
    if isinstance(tree, Advanced):
        return tree.source, tree.advances, False
    if isinstance(tree, Cross):
        return tree, (), False
    parts = split_name(tree)
    return parts.source, parts.advances, parts.is_packet


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
        elif isinstance(node, Advanced):
            stack.append((node.source, share))
        else:
            stack += [(node.male, share / 2), (node.female, share / 2)]
    return shares


def _written(tree: Tree) -> tuple[str, int]:
    """The normal form of a tree that stands alone or in brackets, and the order of its last cross."""
    if isinstance(tree, str):
        return (f"({tree})" if tree.isascii() and tree.isdigit() else tree), 0
    if isinstance(tree, Advanced):
        source = tree.source if isinstance(tree.source, str) else _written(tree.source)[0]
        return join_name(f"({source})", tree.advances), 0
    doses, recurrent, donor = find_doses(tree)
    one, one_order = _written_side(recurrent, doses)
    other, other_order = _written_side(donor, 1)
    order = max(one_order, other_order) + 1
    separator = "/" * order if order < 3 else f"/{order}/"
    if recurrent is tree.male:
        return other + separator + one, order
    return one + separator + other, order


def _written_side(tree: Tree, doses: int) -> tuple[str, int]:
    """A side of a cross with its doses; brackets where a bulk and doses could be confused."""
    written, order = _written(tree)
    last = _last_advance(tree)
    if last is not None and last.kind in ("bulk", "increase") and (last.times > 1 or doses > 1):
        written = f"({written})"
    return written + (f"*{doses}" if doses > 1 else ""), order


def _last_advance(tree: Tree) -> Advance | None:
    advances = (
        tree.advances if isinstance(tree, Advanced) else split_name(tree).advances if isinstance(tree, str) else ()
    )
    return advances[-1] if advances else None


def find_doses(tree: Cross) -> tuple[int, Tree, Tree]:
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
