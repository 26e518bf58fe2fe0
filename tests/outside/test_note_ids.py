"""Ids and check sums of notes against published examples."""

import zlib

from firstsilk.science.flowering.notes import compute_check_sum, make_note_id, read_note

# RFC 9562 (2024), appendix A.6, "Example of a UUIDv7 Value": 2022-02-22 14:22:22.00-05:00,
# unix_ts_ms 017F22E279B0, rand_a CC3, rand_b 18C4DC0C0C07398F, together 017F22E2-79B0-7CC3-98C4-DC0C0C07398F.
RFC_9562_A6 = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
RFC_9562_A6_MS = 0x017F22E279B0

# The check value of CRC-32/ISO-HDLC, the CRC of "123456789", in the catalogue of parametrised CRC algorithms
# (reveng.sourceforge.io/crc-catalogue): cbf43926.
CRC_CHECK = 0xCBF43926


def test_note_id_from_the_parts_of_the_rfc_is_the_rfcs_example() -> None:
    # The first four bits are overwritten by the version, the two before rand_b by the variant.
    dice = bytes.fromhex("0cc3" + "18c4dc0c0c07398f")
    assert make_note_id(RFC_9562_A6_MS, dice) == RFC_9562_A6


def test_note_id_whatever_the_dice_keeps_version_and_variant() -> None:
    for dice in (bytes(10), b"\xff" * 10):
        made = make_note_id(RFC_9562_A6_MS, dice)
        assert made[:13] == "017f22e2-79b0"
        assert made[14] == "7"
        assert made[19] in "89ab"


def test_crc_of_the_check_text_is_the_published_value() -> None:
    assert zlib.crc32(b"123456789") == CRC_CHECK


def test_check_sum_is_the_crc_of_the_canonical_text_and_no_other() -> None:
    """A note written out by hand as JSON: the sum must be that of this text, sign for sign."""
    text = (
        '["017f22e2-79b0-7cc3-98c4-dc0c0c07398f","017f22e2-79b0-7cc3-98c4-dc0c0c07398f",7,"W07","pollinated","self",'
        '"0000002Y","","B-12",3,"4","","2031-07-14T10:00:00",-210,"phone","pocket 0.1.0",1,false,"","wet \\"œ\\"",""]'
    )
    names = ("id", "device", "number", "worker", "kind", "detail", "tag", "male", "bag", "plant", "value", "unit")
    names += ("taken_local", "offset_min", "source", "app", "format", "practice", "doubt", "doubt_reason", "replaces")
    values = [
        RFC_9562_A6, RFC_9562_A6, 7, "W07", "pollinated", "self", "0000002Y", "", "B-12", 3, "4", "",
        "2031-07-14T10:00:00", -210, "phone", "pocket 0.1.0", 1, False, "", 'wet "œ"', "",
    ]  # fmt: skip
    wire = {**dict(zip(names, values, strict=True)), "check_sum": f"{zlib.crc32(text.encode()):08x}"}
    assert compute_check_sum(read_note(wire)) == wire["check_sum"]
