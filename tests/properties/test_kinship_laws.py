"""The laws of kinship, and the slow twin: plain recursive coancestry with exact fractions, plant by plant."""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from firstsilk.science.lineage.kinship import find_coancestry
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.relationship import find_gene_flow, find_mendelian_variance


@dataclass(eq=False)
class Plant:
    """One plant: when it was born, and its parents; one parent alone is a doubled haploid of it."""

    born: int
    parents: tuple["Plant", ...] = ()
    inbred: bool = False


class Garden:
    """Grows every plant that the rules speak of in words, family members too, and relates them by recursion."""

    def __init__(self, members: list[Member]) -> None:
        self.births = 0
        self.known: dict[tuple[int, int], Fraction] = {}
        self.plants: dict[str, Plant] = {}
        self.families: dict[str, Callable[[], Plant]] = {}
        for member in members:
            self.families[member.line] = self.family(member)
            self.plants[member.line] = self.families[member.line]()

    def grow(self, *parents: Plant, inbred: bool = False) -> Plant:
        self.births += 1
        return Plant(self.births, parents, inbred)

    def family(self, member: Member) -> Callable[[], Plant]:
        mother = self.plants.get(member.mother) or self.grow()
        if member.method in ("founder", "founder_inbred", "dh"):
            parents = (mother,) if member.method == "dh" else ()
            alike = self.grow(*parents, inbred=member.method == "founder_inbred")
            return lambda: alike
        if member.method == "self":
            for _ in range(member.selfings - 1):
                mother = self.grow(mother, mother)
            return lambda: self.grow(mother, mother)
        if member.method == "cross":
            father = self.plants.get(member.father) or self.grow()
            return lambda: self.grow(mother, father)
        if member.method == "open":
            return lambda: self.grow(mother, self.grow())
        mothers, fathers = self.families[member.mother], self.families[member.father or member.mother]
        if member.method == "sib":
            one, other = mothers(), mothers()
            return lambda: self.grow(one, other)
        return lambda: self.grow(mothers(), fathers())

    def inbreeding(self, plant: Plant) -> Fraction:
        if len(plant.parents) == 2:
            return self.coancestry(*plant.parents)
        return Fraction(1 if plant.inbred or plant.parents else 0)

    def coancestry(self, one: Plant, other: Plant) -> Fraction:
        if one is other:
            return (1 + self.inbreeding(one)) / 2
        younger, older = (one, other) if one.born > other.born else (other, one)
        key = (younger.born, older.born)
        if key not in self.known:
            total = sum((self.coancestry(parent, older) for parent in younger.parents), Fraction(0))
            self.known[key] = total / max(len(younger.parents), 1)
        return self.known[key]


@st.composite
def pedigrees(draw, families: bool = True) -> list[Member]:
    members = [Member("0", draw(st.sampled_from(["founder", "founder_inbred"])))]
    inbred = {"0"} if members[0].method == "founder_inbred" else set()
    sibbed = set(inbred)
    methods = ["founder", "founder_inbred", "cross", "self", "dh", "open"] + ["sib", "bulk"] * families
    for number in range(1, draw(st.integers(1, 8))):
        line, method = str(number), draw(st.sampled_from(methods))
        parent = st.sampled_from([member.line for member in members])
        if method in ("sib", "bulk"):
            if not sibbed:
                continue
            parent = st.sampled_from(sorted(sibbed))
        mother = "" if method.startswith("founder") else draw(parent)
        father = draw(parent | st.just("")) if method in ("cross", "bulk") else ""
        if method == "cross" and father == mother and mother not in inbred:
            father = ""
        members.append(Member(line, method, mother, father, draw(st.integers(1, 4)) if method == "self" else 1))
        if method in ("founder_inbred", "dh"):
            inbred.add(line)
        if method != "founder":
            sibbed.add(line)
    return members


@given(pedigrees())
@settings(max_examples=200, deadline=None)
def test_coancestry_when_any_pedigree_then_exactly_the_plain_recursion(members):
    kinship = find_coancestry(members)
    garden = Garden(members)
    plants = [garden.plants[member.line] for member in members]
    # Every value is a sum of few powers of 1/2, so double precision holds it exactly.
    assert [Fraction(value) for value in kinship.inbreeding.tolist()] == [garden.inbreeding(plant) for plant in plants]
    for at, one in enumerate(plants):
        for also, other in enumerate(plants):
            assert Fraction(float(kinship.coancestry[at, also])) == garden.coancestry(one, other)


@given(pedigrees(), st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_coancestry_when_rows_are_shuffled_then_the_same(members, dice):
    shuffled = list(members)
    dice.shuffle(shuffled)
    one, other = find_coancestry(members), find_coancestry(shuffled)
    order = [other.lines.index(line) for line in one.lines]
    assert np.array_equal(one.coancestry, other.coancestry[np.ix_(order, order)])


@given(pedigrees())
@settings(max_examples=100, deadline=None)
def test_coancestry_when_any_pedigree_then_symmetric_within_bounds_and_a_covariance(members):
    kinship = find_coancestry(members)
    assert np.array_equal(kinship.coancestry, kinship.coancestry.T)
    assert np.all((kinship.coancestry >= 0) & (kinship.coancestry <= 1))
    assert np.array_equal(np.diag(kinship.coancestry), (1 + kinship.inbreeding) / 2)
    assert np.min(np.linalg.eigvalsh(kinship.coancestry)) > -1e-12


@given(pedigrees(families=False))
@settings(max_examples=100, deadline=None)
def test_relationship_when_no_families_then_gene_flow_and_mendelian_variance_give_it_back(members):
    flow, variance = find_gene_flow(members), find_mendelian_variance(members)
    relationship = 2 * find_coancestry(members).coancestry
    assert np.max(np.abs(flow @ np.diag(variance) @ flow.T - relationship)) < 1e-12
