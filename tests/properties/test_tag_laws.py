"""The laws of tags: each serial has one tag, each tag one serial, and both rise together."""

import itertools

from hypothesis import given
from hypothesis import strategies as st

from firstsilk.science.seed.tags import (
    ALPHABET,
    count_tags,
    find_check_sign,
    print_tag,
    read_tag,
    serial_for_tag,
    tag_for_serial,
)

serials = st.integers(0, count_tags() - 1)


@given(serials)
def test_serial_when_made_a_tag_and_back_then_the_same(serial):
    tag = tag_for_serial(serial)
    assert len(tag) == 8
    assert set(tag) <= set(ALPHABET)
    assert serial_for_tag(tag) == serial


@given(serials, serials)
def test_tags_when_serials_rise_then_rise(one, other):
    assert (one < other) == (tag_for_serial(one) < tag_for_serial(other))


@given(st.text(ALPHABET, min_size=7, max_size=7))
def test_body_when_its_check_can_be_printed_then_it_has_a_serial(body):
    check = find_check_sign(body)
    if check in ALPHABET:
        assert tag_for_serial(serial_for_tag(body + check)) == body + check


@given(serials)
def test_printed_tag_when_typed_carelessly_then_read(serial):
    tag = tag_for_serial(serial)
    careless = print_tag(tag).lower().replace("1", "l").replace("0", "o")
    assert read_tag(careless) == tag


def test_first_serials_when_listed_then_no_valid_tag_is_left_out():
    # The slow twin: walk the bodies in order and keep those whose check can be printed.
    bodies = ("0000" + "".join(tail) for tail in itertools.product(ALPHABET, repeat=3))
    slow = [body + find_check_sign(body) for body in bodies if find_check_sign(body) in ALPHABET]
    assert [tag_for_serial(serial) for serial in range(0, len(slow), 97)] == slow[::97]
    assert serial_for_tag(slow[-1]) == len(slow) - 1
