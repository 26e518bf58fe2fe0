"""Do ear-to-row names, generations and inbreeding agree with the published rules and tables?"""

from fractions import Fraction

import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.kinship import find_coancestry
from firstsilk.science.lineage.labels import find_label_inbreeding
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.notation import parse_pedigree
from firstsilk.science.lineage.told_pedigree import tell_pedigree

# --- Rules for writing maize pedigrees (international maize programme): no full stops, round brackets only, as many
# opening as closing ones, and a hyphen only for a generation advance by selfing or sibbing. ---------------------------


@pytest.mark.parametrize("text", ["[A/B]-3", "{A/B}-3", "(A/B-3", "A/B)-3", "(A/B)-", "(A/B)-x", "(A/B)--3"])
def test_pedigree_when_it_breaks_a_published_rule_then_refused_with_the_character(text):
    with pytest.raises(InputRefused, match="character"):
        parse_pedigree(text)


def test_ears_of_a_published_row_when_read_then_the_row_and_the_ear():
    # How-to page on maize nurseries: the row CML159 gives the ears CML159-1, CML159-2 and so on.
    told = tell_pedigree("CML159-2")
    assert (told.source, told.advances[0].number, told.derived_from.line) == ("CML159", 2, "CML159")


def test_published_stock_packet_when_read_then_year_row_and_plant():
    # Maize Genetics Cooperation, pages on stock packets: year-row-plant, such as 96-750-11; a letter marks the winter.
    assert tell_pedigree("96-750-11").stands_for == "plant"
    assert tell_pedigree("96W-750-11").stands_for == "plant"


# --- F = 1 - (1/2)^t: Wright 1922; Falconer & Mackay 1996, table of inbreeding after t generations of selfing. --------


@pytest.mark.parametrize(
    ("text", "inbreeding"),
    [
        ("EK12-3", Fraction(1, 2)),
        ("EK12-3-1", Fraction(3, 4)),
        ("EK12-3-1-2", Fraction(7, 8)),
        ("(A/B)-3-1-2-5", Fraction(15, 16)),
        ("(A/B)-3-B*3-#", Fraction(15, 16)),
        ("(A/B)-1-1-1-1-1-1", Fraction(63, 64)),
        ("(A/B)-3-#*4", Fraction(1, 2)),
        ("(A/B//C)-2-1-D4", Fraction(1)),
    ],
)
def test_inbreeding_when_counted_from_advances_then_as_published(text, inbreeding):
    told = tell_pedigree(text)
    assert told.inbreeding == inbreeding
    assert told.inbreeding_by_kin == inbreeding


@pytest.mark.parametrize(
    ("label", "inbreeding"),
    [
        # Of F2 and F3, and of backcrosses to an inbred parent, 1 - (1/2)^n: Falconer & Mackay 1996, ch. 5.
        ("F1", 0.0),
        ("F2", 0.5),
        ("F3", 0.75),
        ("F2:3", 0.75),
        ("S2", 0.75),
        ("BC1F1", 0.5),
        ("BC2F1", 0.75),
        ("BC1F2", 0.75),
        ("D0", 1.0),
        ("TC1", None),
    ],
)
def test_inbreeding_when_told_by_a_label_then_as_published(label, inbreeding):
    assert find_label_inbreeding(label) == inbreeding
    assert tell_pedigree(label).inbreeding == inbreeding


# --- Coancestry of A, B, C (unrelated inbred lines) with what is made of them; by the rules of Malecot 1948. ----------

TABLE = [
    ("A/B", 0, 0.5, 0.5, 0),
    ("(A/B)-1", 0.5, 0.5, 0.5, 0),
    ("(A/B)-1-1", 0.75, 0.5, 0.5, 0),
    ("(A/B)-D1", 1, 0.5, 0.5, 0),
    ("A/B//C", 0, 0.25, 0.25, 0.5),
    ("(A/B//C)-D3", 1, 0.25, 0.25, 0.5),
    ("A*2/B", 0.5, 0.75, 0.25, 0),
    ("(A*2/B)-D4", 1, 0.75, 0.25, 0),
]


@pytest.mark.parametrize(("text", "inbreeding", "with_a", "with_b", "with_c"), TABLE)
def test_coancestry_when_a_pedigree_is_turned_into_rows_then_as_the_table(text, inbreeding, with_a, with_b, with_c):
    told = tell_pedigree(text)
    known = {one.line for one in told.members}
    members = [*(Member(name, "founder_inbred") for name in "ABC" if name not in known), *told.members]
    kinship = find_coancestry(members)
    at = {name: place for place, name in enumerate(kinship.lines)}
    found = [kinship.coancestry[at[told.normal], at[name]] for name in "ABC"]
    assert (kinship.inbreeding[at[told.normal]], *found) == (inbreeding, with_a, with_b, with_c)
    assert told.inbreeding == inbreeding
