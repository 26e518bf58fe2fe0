"""Does each pollination give its seed the right method, label, pedigree and meaning?"""

from pathlib import Path

import pytest

import firstsilk
from firstsilk.answers import InputRefused
from firstsilk.science.lineage.generation import POLLINATIONS, Parent, plan_progeny
from firstsilk.science.lineage.members import METHODS

A, B = Parent("A"), Parent("B")
F1 = Parent("A/B", "F1")
S2 = Parent("XA-3-1", "S2")


@pytest.mark.parametrize(
    ("pollination", "mother", "father", "method", "stands_for", "generation", "pedigree", "has_father"),
    [
        ("self", S2, None, "self", "family", "S3", "XA-3-1", False),
        ("self", F1, None, "self", "family", "F2", "A/B", False),
        ("self", Parent("(A/B)-3", "F2"), None, "self", "family", "F3", "(A/B)-3", False),
        ("self", Parent("XA", "F2:4"), None, "self", "family", "F2:5", "XA", False),
        ("cross", Parent("(A/B)-3", "F2"), A, "cross", "family", "F1", "(A/B)-3/A", True),
        ("sib", S2, None, "sib", "family", "S2", "XA-3-1", False),
        ("full_sib", S2, Parent("XA-3-2", "S2"), "cross", "family", "S2", "XA-3-1/XA-3-2", True),
        ("half_sib", S2, Parent("XA-4-1", "S2"), "cross", "family", "S2", "XA-3-1/XA-4-1", True),
        ("bulk_sib", S2, None, "bulk", "bulk", "S2", "XA-3-1", False),
        ("cross", A, B, "cross", "family", "F1", "A/B", True),
        ("three_way", F1, Parent("C"), "cross", "family", "F1", "A/B//C", True),
        ("testcross", S2, Parent("T1"), "cross", "family", "TC1", "XA-3-1/T1", True),
        ("topcross", S2, Parent("OPV"), "cross", "family", "TC1", "XA-3-1/OPV", True),
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
        "full_sib",
        "half_sib",
        "bulk_sib",
        "cross",
        "three_way",
        "testcross",
        "topcross",
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


def _tell_generation(kind):
    told = {
        "next": "the mother's next: S1 after S0, F3 after F2",
        "same": "the mother's",
        "BC": "BC1F1 from an F1, BC2F1 from a BC1",
        "untold": "not told",
    }.get(kind.label, kind.label)
    return f"{told}; without a father the mother's" if kind.father == "may" else told


def _tell_pedigree(kind):
    if kind.within:
        return "the mother's"
    if kind.father == "none":
        return "`MOTHER/open`"
    if kind.label == "BC":
        return "`MOTHER*2/FATHER`, doses counted"
    return "`MOTHER/FATHER`; without a father the mother's" if kind.father == "may" else "`MOTHER/FATHER`"


def test_every_type_stands_in_the_table_of_docs_with_what_it_fixes():
    page = (Path(firstsilk.__file__).parents[2] / "docs" / "lines.md").read_text("utf-8")
    fathers = {"needed": "yes", "none": "no", "may": "may be"}
    for name, kind in POLLINATIONS.items():
        cells = (f"`{name}`", kind.means, fathers[kind.father], kind.stands_for)
        row = f"| {' | '.join(cells)} | {_tell_generation(kind)} | {_tell_pedigree(kind)} | `{kind.method}` |"
        assert row in page, f"docs/lines.md lacks: {row}"


def test_every_type_that_the_trade_asks_for_is_there():
    # The list of pollination types of a working nursery; each name here is one of ours.
    trade = {
        "self": "self",
        "sib, plant to plant in a row": "sib",
        "full-sib family": "full_sib",
        "half-sib family": "half_sib",
        "bulk sib, mixed pollen of n plants": "bulk_sib",
        "single cross": "cross",
        "three-way cross": "three_way",
        "testcross": "testcross",
        "topcross": "topcross",
        "backcross": "backcross",
        "reciprocal": "reciprocal",
        "diallel cell": "diallel",
        "induction cross": "induction",
        "pollen mix": "pollen_mix",
        "open-pollinated": "open",
        "isolated block": "isolated",
    }
    assert sorted(trade.values()) == sorted(POLLINATIONS)
