"""What does a written pedigree say by itself: which generation, how inbred, and does it stand for a plant or a bulk?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.advances import Advance, split_name, split_steps
from firstsilk.science.lineage.derivation import Derivation
from firstsilk.science.lineage.kinship import find_coancestry
from firstsilk.science.lineage.labels import (
    Generation,
    advance_label,
    find_label_inbreeding,
    read_generation,
    write_generation,
)
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.notation import parse_pedigree
from firstsilk.science.lineage.trees import (
    Cross,
    Tree,
    advance_tree,
    find_doses,
    find_shares,
    split_tree,
    write_pedigree,
)

MEMBERS_MAX = 2_000
"""Kinship of more names than these is left to the door for pedigree tables. Our own bound."""
KIN_METHODS = {"ear": "self", "bulk": "self", "increase": "bulk", "doubled": "dh"}
"""The method of kinship for each kind of advance. An increase uses many plants, so that it holds inbreeding."""


@dataclass(frozen=True, slots=True)
class PedigreeTold:
    """All that a written pedigree says by itself.

    `source` is its cross or name without the `advances`; `generation` is empty and `inbreeding` [0 to 1] None where it
    does not tell; `inbreeding_by_kin` is that of `members`, the pedigree as rows of kinship. `stands_for` is plant,
    family, bulk or empty. `assumed` says what was taken for granted, `doubts` what may be meant otherwise.
    """

    normal: str
    tree: Tree
    shares: dict[str, Fraction]
    source: str
    advances: tuple[Advance, ...]
    generation: str
    inbreeding: float | None
    inbreeding_by_kin: float | None
    stands_for: str
    derived_from: Derivation | None
    members: tuple[Member, ...]
    assumed: tuple[str, ...]
    doubts: tuple[str, ...]


def tell_pedigree(text: str) -> PedigreeTold:
    """Read a pedigree or a name and say what it tells.

    Parameters
    ----------
    text
        A cross, a name with its ear numbers, a packet (year-row-plant) or a generation label such as ``F2:3``.

    Returns
    -------
    PedigreeTold

    Raises
    ------
    InputRefused
        What `parse_pedigree` refuses.

    Notes
    -----
    Inbreeding is F = 1 - (1/2)^t (1 - F_0) after t selfings, ear by ear or in bulk, since the last cross, whose F_0
    follows from its parents (0 for unrelated ones and for a source plant); an increase adds none, and a doubled
    haploid has 1. The parents of a cross are taken as unrelated inbred lines, a name with ear numbers behind it as a
    plant that was not selfed before.

    References
    ----------
    Wright 1922; Malecot 1948; Falconer & Mackay 1996, Introduction to Quantitative Genetics, ch. 5.

    Checked by
    ----------
    tests/outside/test_ear_to_row_published.py, tests/properties/test_ear_to_row_laws.py
    """
    tree = parse_pedigree(text)
    source, advances, is_packet = split_tree(tree)
    label = tree if isinstance(tree, str) and read_generation(tree) else ""
    members = list_members(tree)
    by_kin, doubts = _find_kin_inbreeding(tree, members)
    start = _find_start(source, is_told=bool(advances))
    inbreeding = find_label_inbreeding(label) if label else _count_inbreeding(advances, start)
    generation, derived = _trace(source, advances)
    return PedigreeTold(
        normal=write_pedigree(tree),
        tree=tree,
        shares=find_shares(tree),
        source=write_pedigree(source),
        advances=advances,
        generation=label or generation,
        inbreeding=inbreeding,
        inbreeding_by_kin=by_kin,
        stands_for=_tell_stands_for(tree, advances, is_packet, label),
        derived_from=_derive_from_label(label) if label else derived,
        members=members,
        assumed=_tell_assumed(members),
        doubts=(*doubts, *_doubt_increase(inbreeding, by_kin), *_doubt_hyphens(tree)),
    )


def list_members(tree: Tree) -> tuple[Member, ...]:
    """A pedigree as rows of kinship, parents first: line, method, mother, father.

    Parameters
    ----------
    tree
        The pedigree as read.

    Returns
    -------
    tuple of Member
        Each name, cross and generation advance once, under its normal form; the last is the pedigree itself.

    Notes
    -----
    A name that is advanced anywhere is a founder, any other an inbred founder. An ear number and a bulk are one
    selfing each, an increase is a bulk within the family.

    Checked by
    ----------
    tests/properties/test_ear_to_row_laws.py
    """
    found: dict[str, Member] = {}
    advanced: set[str] = set()
    waiting: list[tuple[Tree, bool]] = [(tree, False)]
    while waiting:
        node, parents_done = waiting.pop()
        source, advances, _ = split_tree(node)
        if not parents_done and isinstance(source, Cross):
            waiting += [(node, True), (source.male, False), (source.female, False)]
            continue
        name = write_pedigree(source)
        if isinstance(source, Cross):
            parents = (write_pedigree(source.female), write_pedigree(source.male))
            found.setdefault(name, Member(name, "cross", *parents))
        else:
            found.setdefault(name, Member(name, "founder_inbred"))
            if advances:
                advanced.add(name)
        _add_advances(found, source, advances)
    return tuple(Member(name, "founder") if name in advanced else one for name, one in found.items())


def _add_advances(found: dict[str, Member], source: Tree, advances: Sequence[Advance]) -> None:
    mother = write_pedigree(source)
    steps = split_steps(advances)
    for at, step in enumerate(steps):
        name = write_pedigree(advance_tree(source, steps[: at + 1]))
        found.setdefault(name, Member(name, KIN_METHODS[step.kind], mother))
        mother = name


def _find_kin_inbreeding(tree: Tree, members: Sequence[Member]) -> tuple[float | None, tuple[str, ...]]:
    if len(members) == 1:
        return None, ()
    if len(members) > MEMBERS_MAX:
        return None, (f"{len(members)} names are too many to reckon kinship here; write them to a table and use kin",)
    try:
        kinship = find_coancestry(members)
    except InputRefused as no:
        told = no.findings[0].message if no.findings else str(no).rstrip(".")
        return None, (f"kinship cannot be reckoned: {told}",)
    return float(kinship.inbreeding[kinship.lines.index(write_pedigree(tree))]), ()


def _find_start(source: Tree, is_told: bool) -> float | None:
    """F of a plant of the cross before any advance; 0 for a source plant; None for a bare name, which tells none."""
    if not isinstance(source, Cross):
        return 0.0 if is_told else None
    behind = list_members(source)
    return None if len(behind) > MEMBERS_MAX else _find_kin_inbreeding(source, behind)[0]


def _count_inbreeding(advances: Sequence[Advance], start: float | None) -> float | None:
    if any(one.kind == "doubled" for one in advances):
        return 1.0
    if start is None:
        return None
    selfings = sum(one.times for one in advances if one.kind in ("ear", "bulk"))
    return 1.0 - 0.5**selfings * (1.0 - start)


def _trace(source: Tree, advances: Sequence[Advance]) -> tuple[str, Derivation | None]:
    """The generation after all advances, and the latest plant that they name."""
    if not isinstance(source, Cross) and not advances:
        return "", None
    label = _label_cross(source) if isinstance(source, Cross) else "S0"
    derived = None
    steps = split_steps(advances)
    for at, step in enumerate(steps):
        line = write_pedigree(advance_tree(source, steps[:at]))
        if step.kind == "doubled":
            if step.number:
                derived = Derivation(line, str(step.number), "D0")
            label = "D1" if step.number else "D0"
        elif step.kind == "ear":
            derived = Derivation(line, str(step.number), label)
            label = advance_label(label)
        elif step.kind == "bulk":
            label = advance_label(label)
    return label, derived


def _label_cross(cross: Cross) -> str:
    doses = find_doses(cross)[0]
    return f"BC{doses - 1}F1" if doses > 1 else "F1"


def _tell_stands_for(tree: Tree, advances: Sequence[Advance], is_packet: bool, label: str) -> str:
    if label:
        found = read_generation(label)
        return "family" if found is not None and found.plant is not None else ""
    if not advances:
        return "plant" if is_packet else "family" if isinstance(tree, Cross) else ""
    last = advances[-1]
    return "family" if last.kind == "ear" or (last.kind == "doubled" and last.number) else "bulk"


def _derive_from_label(label: str) -> Derivation | None:
    found = read_generation(label)
    if found is None or found.plant is None:
        return None
    return Derivation("", "", write_generation(Generation(found.series, found.plant, found.backcrosses)))


def _tell_assumed(members: Sequence[Member]) -> tuple[str, ...]:
    if len(members) == 1:
        return ()
    plants = [one.line for one in members if one.method == "founder"]
    lines = [one.line for one in members if one.method == "founder_inbred"]
    told = []
    if plants:
        told.append(f"{_list(plants)} taken as not selfed before (S0)")
    if lines:
        told.append(f"{_list(lines)} taken as inbred" + (" and unrelated" if len(lines + plants) > 1 else ""))
    return tuple(told)


def _list(names: Sequence[str]) -> str:
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    return f"{shown} {'is' if len(names) == 1 else 'are'}"


def _doubt_increase(counted: float | None, by_kin: float | None) -> tuple[str, ...]:
    """Where counting advances and kinship differ: an increase of plants that are relatives, before any selfing."""
    if counted is None or by_kin is None or counted == by_kin:
        return ()
    return (f"by kinship inbreeding is {by_kin:g}: plants of one cross are relatives, and an increase crosses them",)


def _doubt_hyphens(tree: Tree) -> tuple[str, ...]:
    """Names with a hyphen that is read as part of the name, for nothing behind it is an advance."""
    names = dict.fromkeys(find_shares(tree))
    odd = [name for name in names if not split_name(name).is_packet and "-" in split_name(name).source]
    return tuple(
        f"the hyphen in {split_name(name).source} is read as part of the name: it is no generation advance"
        for name in odd
    )
