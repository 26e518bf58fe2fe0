"""Is a pedigree that cannot be meant refused, with the character and the reason?"""

import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.notation import Cross, parse_pedigree, write_pedigree


@pytest.mark.parametrize(
    ("text", "code", "position"),
    [
        ("", "pedigree_empty", 1),
        ("   ", "pedigree_empty", 1),
        ("A/B/C", "cross_order_unknown", 4),
        ("A//B//C/D", "cross_order_unknown", 5),
        ("A//B", "cross_order_skipped", 2),
        ("A/B/3/C", "cross_order_skipped", 4),
        ("(A//B)/C", "cross_order_skipped", 3),
        ("/B", "parent_missing", 1),
        ("A/", "parent_missing", 3),
        ("A/()", "parent_missing", 4),
        ("A/ /B", "parent_missing", 4),
        ("(A/B", "bracket_not_closed", 1),
        ("A/B)", "bracket_not_opened", 4),
        ("A(B/C)", "separator_missing", 2),
        ("(A/B)-03", "not_an_advance", 7),
        ("(A/B)-3-x-1", "not_an_advance", 9),
        ("(A/B)-3-BB", "not_an_advance", 9),
        ("(A/B)-3--1", "advance_missing", 9),
        ("(A/B)-", "advance_missing", 7),
        ("A/B-3-", "advance_missing", 7),
        ("A--3/B", "advance_missing", 3),
        ("-3-1", "advance_of_nothing", 1),
        ("A/(-3)", "advance_of_nothing", 4),
        ("(A/B)-B*1", "times_out_of_range", 7),
        ("A-B*100", "times_out_of_range", 3),
        ("A-B*2-x", "not_an_advance", 7),
        ("A-B*2/C", "bulk_or_doses", 4),
        ("C/(A/B)-3-#*2", "bulk_or_doses", 12),
        ("(A/B-3", "bracket_not_closed", 1),
        ("A/B)-3", "bracket_not_opened", 4),
        ("[A/B]-3", "sign_not_allowed", 1),
        ("(A/B)3", "separator_missing", 6),
        ("A*2", "doses_without_cross", 2),
        ("(A*2)/B", "doses_without_cross", 3),
        ("A*/B", "doses_no_number", 2),
        ("A*x/B", "doses_no_number", 2),
        ("A*1/B", "doses_out_of_range", 3),
        ("A*100/B", "doses_out_of_range", 3),
        ("A*2/B*2", "two_recurrents", 4),
        ("A*2*3/B", "doses_twice", 4),
        ("2*A*3/B", "doses_twice", 4),
        ("A/5*3", "doses_unclear", 3),
        ("A/0/B", "order_out_of_range", 2),
        ("A/99999999999/B", "order_out_of_range", 2),
        ("A;B/C", "sign_not_allowed", 2),
        ("A/[B]", "sign_not_allowed", 3),
        ("A/B\nC", "sign_not_allowed", 4),
        ("A x B", "cross_written_x", 1),
        ("((A*99/B)*99/C)", "pedigree_too_deep", 13),
    ],
)
def test_pedigree_when_it_cannot_be_meant_then_refused_at_the_character(text, code, position):
    with pytest.raises(InputRefused) as caught:
        parse_pedigree(text)
    assert caught.value.refusal.code == code
    assert dict(caught.value.refusal.facts)["position"] == str(position)
    assert f"character {position}:" in str(caught.value)


@pytest.mark.parametrize("text", ["(" * 5000 + "A", "A" + "/B" * 5000, "A*99/" * 60 + "B", "/" * 100_000])
def test_pedigree_when_absurdly_long_then_refused_and_not_a_fault(text):
    with pytest.raises(InputRefused, match="character"):
        parse_pedigree(text)


def test_longest_chain_of_crosses_when_read_then_written_again():
    text = "A/B//C" + "".join(f"/{order}/D{order}" for order in range(3, 100))
    assert write_pedigree(parse_pedigree(text)) == text


@pytest.mark.parametrize("text", ["(A/B)/C", "(A/B)//C", " A / B // C ", "A/B/2/(C)", "((A/B)//C)"])
def test_brackets_and_blanks_when_used_then_the_same_cross(text):
    assert parse_pedigree(text) == Cross(Cross("A", "B"), "C")


def test_doses_when_beside_a_cross_in_brackets_then_that_cross_is_the_recurrent():
    assert parse_pedigree("(A/B)*2/C") == Cross(Cross("A", "B"), Cross(Cross("A", "B"), "C"))


def test_ear_numbers_when_in_a_name_then_part_of_it():
    assert parse_pedigree("A/B-3-1") == Cross("A", "B-3-1")


def test_names_of_digits_when_no_order_is_meant_then_read_and_bracketed():
    assert write_pedigree(parse_pedigree("1/2//3")) == "(1)/(2)//(3)"


def test_doses_when_counted_in_a_longer_pedigree_then_they_are_one_order():
    assert parse_pedigree("A*2/B//C") == Cross(Cross("A", Cross("A", "B")), "C")
