"""Base 45 as RFC 9285 has it: its worked examples, and what it says is none."""

from __future__ import annotations

import pytest

from firstsilk.science.flowering.film import decode_base45, encode_base45

# RFC 9285 (Faltstrom, Ljunggren, van Gulik 2022), sections 4.3 and 4.4.
EXAMPLES = {b"AB": "BB8", b"Hello!!": "%69 VD92EX0", b"base-45": "UJCLQE7W581", b"ietf!": "QED8WEX0"}


@pytest.mark.parametrize(("content", "text"), EXAMPLES.items())
def test_examples_of_the_rfc(content: bytes, text: str) -> None:
    assert encode_base45(content) == text
    assert decode_base45(text) == content


@pytest.mark.parametrize("text", ["GGW", ":::", "::", "A", "BB8A", "bb8", "BB_"])
def test_text_that_is_none_is_refused(text: str) -> None:
    # Section 6 of the RFC: GGW is 65,536, one more than two bytes hold; ::: is larger still.
    assert decode_base45(text) is None
