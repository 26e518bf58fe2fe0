"""What does the seed of a pollination become?

The closed list of pollination types. Each fixes how the seed's kinship is reckoned, what a row grown from it stands
for, its generation label, and its pedigree.

Generation labels are those of `labels`; empty = unknown. S1 is the seed from selfing an S0 plant, F2 the seed from
selfing an F1 (common practice, no source). Sibbing moves no label.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

from firstsilk.answers import refuse
from firstsilk.science.lineage.labels import advance_label, read_generation
from firstsilk.science.lineage.notation import Advanced, Cross, parse_pedigree, write_pedigree

StandsFor: TypeAlias = Literal["plant", "family", "bulk"]
Father: TypeAlias = Literal["needed", "none", "may"]

OPEN_FATHER = "open"
"""What stands for the unknown father in the pedigree of an open pollination."""


SeedLabel: TypeAlias = Literal["next", "same", "F1", "BC", "TC1", "D0", "untold"]
"""The seed's generation: the mother's next, the mother's, a first cross, one backcross more, a testcross, haploids."""


@dataclass(frozen=True, slots=True)
class PollinationType:
    """What a type of pollination fixes: kinship method, what its seed stands for, its father, the seed's generation."""

    method: str
    stands_for: StandsFor
    father: Father
    label: SeedLabel
    within: bool = False  # both gametes come from the mother's own plant or family: her pedigree stays
    means: str = ""
    makes_hybrid: bool = False  # the seed goes to a trial, not back to the nursery


POLLINATIONS: dict[str, PollinationType] = {
    "self": PollinationType("self", "family", "none", "next", True, "a plant with its own pollen"),
    "sib": PollinationType("sib", "family", "none", "same", True, "two plants of one row"),
    "full_sib": PollinationType("cross", "family", "needed", "same", False, "plants of two families of one cross"),
    "half_sib": PollinationType("cross", "family", "needed", "same", False, "two plants that share one parent"),
    "bulk_sib": PollinationType(
        "bulk", "bulk", "none", "same", True, "plants of a row with the mixed pollen of many of them"
    ),
    "cross": PollinationType("cross", "family", "needed", "F1", False, "one line by another: a single cross"),
    "three_way": PollinationType("cross", "family", "needed", "F1", False, "a cross by a line, or a line by a cross"),
    "testcross": PollinationType("cross", "family", "needed", "TC1", False, "a line and a tester", True),
    "topcross": PollinationType(
        "cross", "family", "needed", "TC1", False, "a line and a tester of broad base, such as a variety", True
    ),
    "backcross": PollinationType("cross", "family", "needed", "BC", False, "a cross and its recurrent parent"),
    "reciprocal": PollinationType(
        "cross", "family", "needed", "F1", False, "an earlier cross with the sexes exchanged"
    ),
    "diallel": PollinationType("cross", "family", "needed", "F1", False, "one cell of a table of crosses"),
    "induction": PollinationType("dh", "family", "needed", "D0", True, "a source by a haploid inducer"),
    "pollen_mix": PollinationType("bulk", "bulk", "needed", "F1", False, "plants with a mix of pollen that has a name"),
    "open": PollinationType("open", "family", "none", "untold", False, "whatever pollen the wind brought"),
    "isolated": PollinationType(
        "bulk", "bulk", "may", "F1", False, "rows in an isolated block, detasselled if there is a father"
    ),
}


@dataclass(frozen=True, slots=True)
class Parent:
    """A parent of a pollination: how it is written in a pedigree (its name, or its pedigree), and its generation."""

    written: str
    generation: str = ""


@dataclass(frozen=True, slots=True)
class Progeny:
    """What the seed is: kinship method, what its row stands for, generation label, pedigree, kinship's parents."""

    pollination: str
    method: str
    stands_for: StandsFor
    generation: str
    pedigree: str
    has_father: bool


def plan_progeny(pollination: str, mother: Parent, father: Parent | None = None) -> Progeny:
    """Say what the seed of a pollination becomes.

    Parameters
    ----------
    pollination
        One of `POLLINATIONS`.
    mother, father
        The parents. No father for `self`, `sib`, `bulk_sib`, `open`; for `isolated` only if the mother is detasselled.
        The father of a `pollen_mix` is the mix under its own name; that of an `induction` is the inducer.

    Returns
    -------
    Progeny
        `has_father` says whether the father is a parent in kinship: an inducer is not, it leaves no genes.

    Raises
    ------
    InputRefused
        An unknown type; a father missing or one too many; a pedigree that cannot be read; a backcross in which neither
        parent stands in the other's pedigree.

    Notes
    -----
    Within a line (`self`, `sib`, `bulk_sib`, `induction`, `isolated` without father) the pedigree stays the mother's,
    and the ear number goes to the name. Otherwise mother and father are written as a cross, doses counted.

    Checked by
    ----------
    tests/science/test_generation.py
    """
    kind = POLLINATIONS.get(pollination)
    if kind is None:
        raise refuse(
            "pollination_unknown",
            f"{pollination!r} is no type of pollination",
            f"Use one of {', '.join(POLLINATIONS)}.",
        )
    if kind.father == "needed" and father is None:
        raise refuse("father_missing", f"a {pollination} needs a father", "Name the line that gave the pollen.")
    if kind.father == "none" and father is not None:
        raise refuse("father_not_wanted", f"a {pollination} has no named father", "Leave the father out, or use cross.")
    within = kind.within or (pollination == "isolated" and father is None)
    return Progeny(
        pollination,
        kind.method,
        kind.stands_for,
        _label(kind, mother, father),
        _pedigree(mother, father, within),
        father is not None and not within,
    )


def _label(kind: PollinationType, mother: Parent, father: Parent | None) -> str:
    label = "same" if kind.father == "may" and father is None else kind.label
    if label == "next":
        return advance_label(mother.generation)
    if label == "same":
        return mother.generation
    if label == "BC" and father is not None:
        return _backcross_label(mother, father)
    return "" if label == "untold" else label


def _backcross_label(mother: Parent, father: Parent) -> str:
    """One backcross more than the parent that is itself a cross."""
    crossed = father if _stands_in(mother, father) else mother if _stands_in(father, mother) else None
    if crossed is None:
        raise refuse(
            "no_recurrent_parent",
            f"neither {mother.written!r} nor {father.written!r} stands in the pedigree of the other",
            "Write the pedigree of the crossed parent, or use cross.",
        )
    found = read_generation(crossed.generation)
    return f"BC{found.backcrosses + 1}F1" if found is not None and found.series == "F" else ""


def _stands_in(recurrent: Parent, crossed: Parent) -> bool:
    wanted = parse_pedigree(recurrent.written)
    waiting = [parse_pedigree(crossed.written)]
    while waiting:
        tree = waiting.pop()
        if isinstance(tree, Cross):
            if wanted in (tree.female, tree.male):
                return True
            waiting += [tree.female, tree.male]
        elif isinstance(tree, Advanced):
            waiting.append(tree.source)
    return False


def _pedigree(mother: Parent, father: Parent | None, within: bool) -> str:
    female = parse_pedigree(mother.written)
    if within:
        return write_pedigree(female)
    male = parse_pedigree(father.written) if father is not None else OPEN_FATHER
    return write_pedigree(Cross(female, male))
