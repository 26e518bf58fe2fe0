"""Is the sign named that was mistyped, and for every way of mistyping one?"""

import pytest

from firstsilk.science.seed.tag_slips import find_slips, is_accepted, list_typing_errors
from firstsilk.science.seed.tags import tag_for_serial

KNOWN = [tag_for_serial(serial) for serial in range(5_000, 900_000_000, 60_000_007)]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("267k-3m8j", "sign 7 is 9, not 8"),
        ("276K3M9J", "signs 2 and 3 are exchanged"),
        ("2K763M9J", "signs 2 and 4 are exchanged"),
        ("267K3M9", "sign 8, J, is missing"),
        ("267K33M9J", "sign 5, 3, is too many"),
    ],
)
def test_slip_when_made_then_its_sign_is_named(typed: str, said: str) -> None:
    assert [one.said for one in find_slips(typed, ["267K3M9J", "ZZZZ0001"])] == [said]


def test_twin_when_mistyped_then_both_signs_are_named() -> None:
    assert find_slips("5534ABCD", ["7734ABCD"])[0].said == "signs 1 and 2 are 77, not 55"


def test_every_error_of_a_list_when_made_then_the_tag_meant_is_told() -> None:
    for tag in KNOWN[:6]:
        for texts in list_typing_errors(tag).values():
            assert all(tag in {one.tag for one in find_slips(text, KNOWN)} for text in texts)


def test_right_tag_and_stranger_when_typed_then_no_slip() -> None:
    assert find_slips(KNOWN[0], KNOWN[:1]) == ()
    assert find_slips("bread", KNOWN) == ()
    assert is_accepted(KNOWN[0])
