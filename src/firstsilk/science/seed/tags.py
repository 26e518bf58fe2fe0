"""Which eight signs name a thing in the field, and were they read right?

A tag is seven signs and a check sign, printed XXXX-XXXX. Its alphabet is 0-9 and A-Z without I, L, O and U. The check
is ISO/IEC 7064 MOD 37-2, which finds every single wrong sign and every exchange of two signs. Serials whose check would
be I, L, O, U or * are skipped.
"""

from __future__ import annotations

from functools import cache

from firstsilk.answers import InputRefused, refuse

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""The signs of a tag, in order: 32, without I, L, O, U."""
BODY_SIGNS = 7
TAG_SIGNS = BODY_SIGNS + 1

MOD_37_2_ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ*"
"""ISO/IEC 7064:2003, MOD 37-2: the values 0 to 36 of the signs; * is a check sign only."""
_MODULUS = 37
_READ_AS = {"I": "1", "L": "1", "O": "0"}


def find_check_sign(body: str) -> str:
    """The ISO/IEC 7064 MOD 37-2 check sign of a text.

    Parameters
    ----------
    body
        Signs 0-9 and A-Z, any number.

    Returns
    -------
    str
        One sign of 0-9, A-Z, ``*``.

    Raises
    ------
    InputRefused
        If a sign is not 0-9 or A-Z.

    Notes
    -----
    p = 0; for each sign p = (p + value) * 2 mod 37; check = (38 - p) mod 37.

    References
    ----------
    ISO/IEC 7064:2003, Check character systems.

    Checked by
    ----------
    tests/outside/test_check_signs.py
    """
    state = 0
    for at, sign in enumerate(body, 1):
        value = MOD_37_2_ALPHABET.find(sign)
        if not 0 <= value < 36:
            raise refuse("sign_without_value", f"{body!r}, sign {at}: {sign!r} is not 0-9 or A-Z", "Use capitals.")
        state = (state + value) * 2 % _MODULUS
    return MOD_37_2_ALPHABET[(38 - state) % _MODULUS]


def count_tags() -> int:
    """How many tags there are; serials run from 0 to one less."""
    return _count(BODY_SIGNS, 0)


def tag_for_serial(serial: int) -> str:
    """The tag of a serial number.

    Parameters
    ----------
    serial
        0 to `count_tags()` - 1.

    Returns
    -------
    str
        Eight signs in capitals. Tags rise with their serials, and every valid tag has exactly one.

    Raises
    ------
    InputRefused
        If there is no tag of that number.

    Notes
    -----
    Of all bodies in the order of the alphabet, the one that has `serial` bodies with a printable check before it.

    Checked by
    ----------
    tests/properties/test_tag_laws.py
    """
    if not 0 <= serial < count_tags():
        raise refuse("serial_out_of_range", f"there is no tag of number {serial}", f"Use 0 to {count_tags() - 1}.")
    rest, state, body = serial, 0, ""
    for left in range(BODY_SIGNS - 1, -1, -1):
        for sign in ALPHABET:
            after = _step(state, sign)
            size = _count(left, after)
            if rest < size:
                body, state = body + sign, after
                break
            rest -= size
    return body + find_check_sign(body)


def serial_for_tag(tag: str) -> int:
    """The serial number of a tag; the inverse of `tag_for_serial`.

    Raises
    ------
    InputRefused
        If `read_tag` refuses it.

    Checked by
    ----------
    tests/properties/test_tag_laws.py
    """
    state, serial = 0, 0
    for at, sign in enumerate(read_tag(tag)[:BODY_SIGNS]):
        for earlier in ALPHABET[: ALPHABET.index(sign)]:
            serial += _count(BODY_SIGNS - 1 - at, _step(state, earlier))
        state = _step(state, sign)
    return serial


def read_tag(text: str) -> str:
    """Read a tag as a person typed it or a scanner gave it.

    Parameters
    ----------
    text
        Case, hyphens and blanks do not matter; I and L are read as 1, O as 0.

    Returns
    -------
    str
        The eight signs in capitals.

    Raises
    ------
    InputRefused
        Says why: too few or too many signs, a sign that no tag holds, or a check that does not fit.

    Checked by
    ----------
    tests/science/test_tags.py, tests/outside/test_check_signs.py
    """
    signs = ""
    for at, sign in enumerate(text, 1):
        if sign == "-" or sign.isspace():
            continue
        capital = sign.upper() if sign.isascii() else sign
        capital = _READ_AS.get(capital, capital)
        if capital not in ALPHABET:
            raise _bad(text, "tag_sign", f"sign {at}, {sign!r}, is on no tag", "Look at that sign again.")
        signs += capital
    if len(signs) != TAG_SIGNS:
        raise _bad(text, "tag_length", f"it has {len(signs)} signs, a tag has {TAG_SIGNS}", "Read the whole tag again.")
    if find_check_sign(signs[:BODY_SIGNS]) != signs[BODY_SIGNS]:
        yes_if = "Read the tag again, sign by sign."
        raise _bad(text, "tag_check", "the check does not fit: a sign is wrong or two are exchanged", yes_if)
    return signs


def print_tag(tag: str) -> str:
    """A tag as it is printed: XXXX-XXXX.

    Raises
    ------
    InputRefused
        If `read_tag` refuses it.

    Checked by
    ----------
    tests/science/test_tags.py
    """
    signs = read_tag(tag)
    return f"{signs[:4]}-{signs[4:]}"


def _bad(text: str, code: str, reason: str, yes_if: str) -> InputRefused:
    shown = text if len(text) <= 40 else text[:37] + "..."
    return refuse(code, f"{shown!r} is no tag: {reason}", yes_if)


def _step(state: int, sign: str) -> int:
    return (state + MOD_37_2_ALPHABET.index(sign)) * 2 % _MODULUS


@cache
def _count(left: int, state: int) -> int:
    """How many ways there are to write `left` more body signs so that the check is in the alphabet."""
    if left == 0:
        return int(MOD_37_2_ALPHABET[(38 - state) % _MODULUS] in ALPHABET)
    return sum(_count(left - 1, _step(state, sign)) for sign in ALPHABET)
