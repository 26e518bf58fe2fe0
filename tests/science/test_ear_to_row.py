"""Are ear-to-row names and pedigrees taken apart as the maize trade writes them?"""

import pytest

from firstsilk.science.lineage.advances import Advance, split_name
from firstsilk.science.lineage.derivation import Derivation
from firstsilk.science.lineage.notation import Advanced, Cross, parse_pedigree, write_pedigree
from firstsilk.science.lineage.told_pedigree import tell_pedigree


def ear(number):
    return Advance("ear", number)


@pytest.mark.parametrize(
    ("name", "source", "advances", "is_packet"),
    [
        ("EK12", "EK12", (), False),
        ("EK12-3-1", "EK12", (ear(3), ear(1)), False),
        ("EK12-3-B-B*2-#", "EK12", (ear(3), Advance("bulk", times=3), Advance("increase")), False),
        ("EK12-DH4", "EK12", (Advance("doubled", 4),), False),
        ("EK12-D", "EK12", (Advance("doubled"),), False),
        ("XA26-0417-3", "XA26-0417", (ear(3),), False),
        ("North-West", "North-West", (), False),
        ("North-West - 3", "North-West", (ear(3),), False),
        ("31-0412-7", "31-0412-7", (), True),
        ("2031W-12-7-2-B", "2031W-12-7", (ear(2), Advance("bulk")), True),
        ("2031-0012", "2031-0012", (), False),
        ("31-0412-7-x", "31-0412-7-x", (), False),
        ("EK12--3", "EK12--3", (), False),
        ("EK12-12345", "EK12-12345", (), False),
        ("3-1", "3", (ear(1),), False),
    ],
)
def test_name_when_taken_apart_then_source_and_advances(name, source, advances, is_packet):
    found = split_name(name)
    assert (found.source, found.advances, found.is_packet) == (source, advances, is_packet)


@pytest.mark.parametrize(
    ("given", "normal"),
    [
        ("EK12-3-1", "EK12-3-1"),
        ("(EK12)-3-1", "EK12-3-1"),
        ("(EK12-3)-1", "EK12-3-1"),
        (" ( A / B ) -3 - 1 ", "(A/B)-3-1"),
        ("((A/B)-3)-1-B", "(A/B)-3-1-B"),
        ("(A/B)-3-B-B-B-#", "(A/B)-3-B*3-#"),
        ("((A/B)-3-B)-B*2", "(A/B)-3-B*3"),
        ("(A/2/B/C)-DH7", "(A//B/C)-D7"),
        ("(A/B)-3/C", "(A/B)-3/C"),
        ("(A/B)-3//C", "(A/B)-3/C"),
        ("C/(EK12-B*2)", "C/(EK12-B*2)"),
        ("2*EK12-B/C", "(EK12-B)*2/C"),
        ("(31)-412-7", "(31)-412-7"),
        ("(31-412)-7", "(31)-412-7"),
        ("(5)-3", "5-3"),
        ("EK12-B*3-1/C", "EK12-B*3-1/C"),
    ],
)
def test_ear_to_row_when_written_again_then_normal(given, normal):
    assert write_pedigree(parse_pedigree(given)) == normal


def test_hyphen_when_behind_a_bracket_then_the_cross_and_behind_a_name_only_that_name():
    assert parse_pedigree("(A/B)-3") == Advanced(Cross("A", "B"), (ear(3),))
    assert parse_pedigree("A/B-3") == Cross("A", "B-3")


@pytest.mark.parametrize(
    ("text", "generation", "stands_for", "derived"),
    [
        ("EK12", "", "", None),
        ("EK12-3", "S1", "family", Derivation("EK12", "3", "S0")),
        ("EK12-3-1", "S2", "family", Derivation("EK12-3", "1", "S1")),
        ("EK12-3-B*2-#", "S3", "bulk", Derivation("EK12", "3", "S0")),
        ("EK12-B", "S1", "bulk", None),
        ("A/B", "F1", "family", None),
        ("A/B//C", "F1", "family", None),
        ("A*3/B", "BC2F1", "family", None),
        ("(A*3/B)-4", "BC2F2", "family", Derivation("A*3/B", "4", "BC2F1")),
        ("(A/B)-3-1", "F3", "family", Derivation("(A/B)-3", "1", "F2")),
        ("(A/B)-3-1-B", "F4", "bulk", Derivation("(A/B)-3", "1", "F2")),
        ("(A/B)-#", "F1", "bulk", None),
        ("(A/B//C)-2-1-D4", "D1", "family", Derivation("(A/B//C)-2-1", "4", "D0")),
        ("(A/B)-D", "D0", "bulk", None),
        ("(A/B)-D4-#", "D1", "bulk", Derivation("A/B", "4", "D0")),
        ("F2:3", "F2:3", "family", Derivation("", "", "F2")),
        ("BC1F1", "BC1F1", "", None),
        ("S2", "S2", "", None),
        ("31-0412-7", "", "plant", None),
        ("31-0412-7-2", "S1", "family", Derivation("31-0412-7", "2", "S0")),
    ],
)
def test_pedigree_when_told_then_generation_and_what_it_stands_for(text, generation, stands_for, derived):
    told = tell_pedigree(text)
    assert (told.generation, told.stands_for, told.derived_from) == (generation, stands_for, derived)


def test_derivation_when_told_then_in_words():
    assert Derivation("EK12", "3", "S0").as_text() == "plant 3 of EK12 (S0)"
    assert Derivation("", "", "F2").as_text() == "one plant (F2)"


def test_bare_name_when_told_then_nothing_is_made_up():
    told = tell_pedigree("EK12")
    assert (told.inbreeding, told.inbreeding_by_kin, told.assumed, told.doubts) == (None, None, (), ())


def test_name_when_a_hyphen_is_part_of_it_then_it_says_so():
    (doubt,) = tell_pedigree("XA26-0417-3").doubts
    assert "the hyphen in XA26-0417 is read as part of the name" in doubt


def test_increase_before_any_selfing_when_kinship_differs_then_it_is_told():
    told = tell_pedigree("(A/B)-#")
    assert (told.inbreeding, told.inbreeding_by_kin) == (0.0, 0.5)
    assert "by kinship inbreeding is 0.5" in told.doubts[0]


def test_increase_of_a_plant_of_unknown_family_when_told_then_kinship_says_why_not():
    told = tell_pedigree("EK12-#")
    assert (told.inbreeding, told.inbreeding_by_kin) == (0.0, None)
    assert "bulk needs a family, but 'EK12' is a founder" in told.doubts[0]
