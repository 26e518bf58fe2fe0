"""Does each pollination give its seed the right method, label, pedigree and meaning?"""

import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.generation import POLLINATIONS, Parent, advance_selfing, plan_progeny
from firstsilk.science.lineage.members import METHODS

A, B = Parent("A"), Parent("B")
F1 = Parent("A/B", "F1")
S2 = Parent("XA-3-1", "S2")


@pytest.mark.parametrize(
    ("pollination", "mother", "father", "method", "stands_for", "generation", "pedigree", "has_father"),
    [
        ("self", S2, None, "self", "family", "S3", "XA-3-1", False),
        ("self", F1, None, "self", "family", "F2", "A/B", False),
        ("sib", S2, None, "sib", "family", "S2", "XA-3-1", False),
        ("half_sib", S2, Parent("XA-4-1", "S2"), "cross", "family", "S2", "XA-3-1/XA-4-1", True),
        ("bulk_sib", S2, None, "bulk", "bulk", "S2", "XA-3-1", False),
        ("cross", A, B, "cross", "family", "F1", "A/B", True),
        ("three_way", F1, Parent("C"), "cross", "family", "F1", "A/B//C", True),
        ("testcross", S2, Parent("T1"), "cross", "family", "TC1", "XA-3-1/T1", True),
        ("backcross", A, F1, "cross", "family", "BC1F1", "A*2/B", True),
        ("backcross", F1, B, "cross", "family", "BC1F1", "A/B*2", True),
        ("backcross", A, Parent("A*2/B", "BC1F1"), "cross", "family", "BC2F1", "A*3/B", True),
        ("backcross", A, Parent("A*2/B", "BC1F3"), "cross", "family", "BC2F1", "A*3/B", True),
        ("backcross", A, Parent("A/B"), "cross", "family", "", "A*2/B", True),
        ("reciprocal", B, A, "cross", "family", "F1", "B/A", True),
        ("diallel", A, B, "cross", "family", "F1", "A/B", True),
        ("induction", F1, Parent("IND"), "dh", "family", "D0", "A/B", False),
        ("pollen_mix", A, Parent("MIX"), "bulk", "bulk", "F1", "A/MIX", True),
        ("open", A, None, "open", "family", "", "A/open", False),
        ("isolated", S2, None, "bulk", "bulk", "S2", "XA-3-1", False),
        ("isolated", A, B, "bulk", "bulk", "F1", "A/B", True),
    ],
)
def test_seed_when_pollinated_then_becomes(
    pollination, mother, father, method, stands_for, generation, pedigree, has_father
):
    seed = plan_progeny(pollination, mother, father)
    found = (seed.method, seed.stands_for, seed.generation, seed.pedigree, seed.has_father)
    assert found == (method, stands_for, generation, pedigree, has_father)


def test_types_when_listed_then_closed_and_each_with_a_method_of_kinship():
    assert set(POLLINATIONS) == {
        "self",
        "sib",
        "half_sib",
        "bulk_sib",
        "cross",
        "three_way",
        "testcross",
        "backcross",
        "reciprocal",
        "diallel",
        "induction",
        "pollen_mix",
        "open",
        "isolated",
    }
    assert {kind.method for kind in POLLINATIONS.values()} <= set(METHODS)
    assert all(kind.means for kind in POLLINATIONS.values())


@pytest.mark.parametrize("pollination", sorted(set(POLLINATIONS)))
def test_father_when_missing_or_not_wanted_then_refused(pollination):
    wanted = POLLINATIONS[pollination].father
    if wanted == "needed":
        with pytest.raises(InputRefused, match="needs a father"):
            plan_progeny(pollination, A)
    if wanted == "none":
        with pytest.raises(InputRefused, match="has no named father"):
            plan_progeny(pollination, A, B)


def test_pollination_when_unknown_then_refused_with_the_list():
    with pytest.raises(InputRefused, match=r"'wind' is no type of pollination.*open"):
        plan_progeny("wind", A)


def test_backcross_when_no_parent_recurs_then_refused():
    with pytest.raises(InputRefused, match="neither 'C' nor 'A/B'"):
        plan_progeny("backcross", Parent("C"), F1)


@pytest.mark.parametrize(
    ("before", "after"),
    [("S0", "S1"), ("S9", "S10"), ("F1", "F2"), ("BC2F1", "BC2F2"), ("D0", "D1"), ("", ""), ("TC1", ""), ("DH", "")],
)
def test_label_when_selfed_then_one_later_or_lost(before, after):
    assert advance_selfing(before) == after
