"""Is a tag read as it was meant, and refused with its reason?"""

import pytest

from firstsilk.answers import InputRefused
from firstsilk.science.seed.tags import count_tags, find_check_sign, print_tag, read_tag, serial_for_tag, tag_for_serial


def test_tag_when_printed_then_two_groups_of_four():
    assert print_tag("267K3M9J") == "267K-3M9J"


@pytest.mark.parametrize("typed", ["267k-3m9j", " 267K3M9J ", "2-6-7-K3M9J", "267K 3M9J"])
def test_tag_when_typed_in_any_case_or_grouping_then_read(typed):
    assert read_tag(typed) == "267K3M9J"


@pytest.mark.parametrize(
    ("typed", "code", "says"),
    [
        ("267K3M9K", "tag_check", "a sign is wrong or two are exchanged"),
        ("276K3M9J", "tag_check", "a sign is wrong or two are exchanged"),
        ("267K3M9", "tag_length", "7 signs"),
        ("267K3M9JJ", "tag_length", "9 signs"),
        ("", "tag_length", "0 signs"),
        ("267K-3U9J", "tag_sign", "sign 7, 'U'"),
        ("2604171*", "tag_sign", "'*'"),
        ("267K3M9\u0131", "tag_sign", "sign 8"),  # a dotless i becomes I in capitals, but is no I
        ("\uff1267K3M9J", "tag_sign", "sign 1"),  # a full-width 2
    ],
)
def test_tag_when_wrong_then_refused_with_the_reason(typed, code, says):
    with pytest.raises(InputRefused, match="is no tag") as caught:
        read_tag(typed)
    assert caught.value.refusal.code == code
    assert says in str(caught.value)


@pytest.mark.parametrize("serial", [-1, count_tags()])
def test_serial_when_out_of_range_then_refused(serial):
    with pytest.raises(InputRefused, match="no tag of number"):
        tag_for_serial(serial)


def test_serials_at_both_ends_when_made_tags_then_all_zeros_and_the_last():
    assert tag_for_serial(0) == "00000001"
    assert tag_for_serial(count_tags() - 1).startswith("ZZZZZZ")
    assert serial_for_tag("00000001") == 0


def test_check_sign_when_small_letters_then_refused():
    with pytest.raises(InputRefused, match="sign 2"):
        find_check_sign("2k")
