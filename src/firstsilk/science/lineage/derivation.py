"""From which plant of which line does a family come, and what does its name say of that?"""

from __future__ import annotations

from dataclasses import dataclass

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.advances import split_steps
from firstsilk.science.lineage.notation import parse_pedigree
from firstsilk.science.lineage.trees import advance_tree, split_tree


@dataclass(frozen=True, slots=True)
class Derivation:
    """From which plant a family comes: the line whose row it stood in, its number, and its generation."""

    line: str
    plant: str
    generation: str

    def as_text(self) -> str:
        """The derivation as part of a sentence: ``plant 3 of EK12 (S0)``."""
        plant = f"plant {self.plant}" if self.plant else "one plant"
        of_line = f" of {self.line}" if self.line else ""
        return f"{plant}{of_line}" + (f" ({self.generation})" if self.generation else "")


@dataclass(frozen=True, slots=True)
class NameSays:
    """What the name of a line says of it: a family or a bulk, and from which plant, if from one that is known."""

    stands_for: str
    derivation: Derivation | None


def read_derivation(name: str, mother: str, generation: str, before: Derivation | None = None) -> NameSays | None:
    """What an ear-to-row name says, where it goes on from the mother's name by one step; None where it does not.

    Parameters
    ----------
    name, mother
        Of the line and of its mother: ``EK12-3-1`` goes on from ``EK12-3``.
    generation
        The mother's; empty if not known.
    before
        From which plant the mother comes; what is bulked or increased keeps it.

    Returns
    -------
    NameSays or None
        None also where a name cannot be read as a pedigree: then nothing is guessed.

    Checked by
    ----------
    tests/science/test_derivation.py
    """
    try:
        tree, parent = parse_pedigree(name), parse_pedigree(mother) if mother else None
    except InputRefused:
        return None
    source, advances, _ = split_tree(tree)
    if parent is None or not advances or advance_tree(source, split_steps(advances)[:-1]) != parent:
        return None
    last = advances[-1]
    if last.kind == "ear":
        return NameSays("family", Derivation(mother, str(last.number), generation))
    if last.kind == "doubled":
        derived = Derivation(mother, str(last.number), "D0") if last.number else None
        return NameSays("family" if derived else "bulk", derived)
    return NameSays("bulk", before)


def tell_stands_for(stands_for: str, derivation: Derivation | None) -> str:
    """What a record stands for, in words: ``a family from plant 3 of EK12 (S0)``."""
    if stands_for == "plant":
        told = "one plant"
        return f"{told}: {derivation.as_text()}" if derivation else told
    return f"a {stands_for}" + (f" from {derivation.as_text()}" if derivation else "")
