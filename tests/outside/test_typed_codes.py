"""Is any typing error of one sign, two exchanged signs or a twin taken for a tag? All errors of 1,000 codes.

ISO/IEC 7064:2003 promises for MOD 37-2: all single errors and all neighbour and jump exchanges are found; twins too for
this alphabet (measured here, all of them).
"""

from firstsilk.science.seed.tag_slips import is_accepted, list_typing_errors
from firstsilk.science.seed.tags import count_tags, tag_for_serial

N_CODES = 1_000


def test_no_typing_error_of_1000_codes_is_accepted() -> None:
    # Half of the codes as printed one after the other, half spread over all; twins are rare and made on purpose.
    step = count_tags() // (N_CODES // 2)
    serials = [*range(4_000, 4_000 + N_CODES // 2), *(step * at + at for at in range(N_CODES // 2))]
    made = dict.fromkeys(("single", "swap", "jump", "twin"), 0)
    for serial in serials:
        tag = tag_for_serial(serial)
        assert is_accepted(tag)
        for kind, texts in list_typing_errors(tag).items():
            made[kind] += len(texts)
            wrong = [text for text in texts if is_accepted(text)]
            assert wrong == [], (kind, tag, wrong)
    assert made["single"] == N_CODES * 8 * 31
    assert made["swap"] > 5_000
    assert made["jump"] > 4_000
    assert made["twin"] > 30_000
    print("typing errors made, none accepted:", made)
