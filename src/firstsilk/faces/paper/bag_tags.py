"""How does a tassel bag get its number before it goes to the field? Labels with a code each, and room to write."""

from __future__ import annotations

from collections.abc import Sequence

from firstsilk.answers import refuse
from firstsilk.faces.paper.press import draw_code, print_code_labels
from firstsilk.faces.paper.tags import LabelPaper
from firstsilk.faces.paper.words import choose_words
from firstsilk.science.seed.tags import print_tag

BAG_TAG_PAPER = LabelPaper(columns=2, rows=8, width_mm=98, height_mm=35, left_mm=7, top_mm=8, code_mm=27)
"""Sixteen labels on A4, to be glued or stapled to a bag; the code has modules of 0.93 mm."""


def render_bag_tags(codes: Sequence[str], language: str = "en", layout: LabelPaper = BAG_TAG_PAPER) -> bytes:
    """Print labels for tassel bags in the order given, sixteen to an A4 sheet, as one PDF.

    Parameters
    ----------
    codes
        Eight signs each.
    language
        Of the words beside the lines to write on.
    layout
        How labels lie on the sheet; the drawing needs at least 96 x 34 mm.

    Raises
    ------
    InputRefused
        If there is no code, one comes twice, or the labels are not in that language.
    StationFault
        If the first, the middle or the last sheet does not read back.

    Checked by
    ----------
    tests/faces/test_field_papers.py
    """
    if not codes:
        raise refuse("nothing_to_print", "There is no bag code to print", "Choose at least one.")
    if len(set(codes)) != len(codes):
        raise refuse("tag_twice", "Two labels would carry the same code", "Give each bag its own.")
    say = choose_words(language)
    words = [say("paper.bag.male"), say("paper.bag.date"), say("paper.bag.type")]
    labels = [{"tag": print_tag(code), "code": draw_code(code)} for code in codes]
    data = {"title": say("paper.bags"), "page": layout.as_data(), "labels": labels, "words": words}
    return print_code_labels("bag_tags", data, codes, layout.per_sheet)
