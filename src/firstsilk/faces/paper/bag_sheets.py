"""On what does a worker without a phone write which bag hung on which male row, and which ears took its pollen?

An empty sheet with a code of its own: the evening is written in its left half, the morning after in its right half.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from firstsilk.faces.paper.lettering import check_lettering, cut_text
from firstsilk.faces.paper.press import check_print, choose_sample, draw_code, print_sheet
from firstsilk.faces.paper.words import choose_words, list_cautions, say_day
from firstsilk.science.flowering.paper_boxes import BAG_TYPES
from firstsilk.science.seed.tags import print_tag
from firstsilk.work.flowering.sheets_out import PaperSheet

WORDS = ("code", "worker", "wrong", "entered", "again")
BAG_WORDS = ("line", "code", "evening", "male", "type", "morning", "female", "ears", "types", "how")


def render_bag_sheets(sheets: Sequence[PaperSheet], station: str, language: str = "en") -> bytes:
    """Print empty bag sheets, one A4 page each, as one PDF.

    Raises
    ------
    InputRefused
        If the sheets are not in that language, or a sign cannot be printed.
    StationFault
        If the codes of the first, the middle or the last page do not read back.

    Checked by
    ----------
    tests/work/test_paper_sheets.py
    """
    say = choose_words(language)
    check_lettering([("station", station)] + [("head", sheet.worker) for sheet in sheets])
    data = {
        "title": f"{say('paper.bag_sheet')} {say_day(language, sheets[0].day)}",
        "name": say("paper.bag_sheet"),
        "station": cut_text(station, 90, 9),
        "language": language,
        "words": {key: say(f"paper.{key}") for key in WORDS},
        "bag": {key: say(f"paper.bag.{key}") for key in BAG_WORDS},
        "types": [[number, say(f"type.{name}")] for number, name in enumerate(BAG_TYPES, 1)],
        "cautions_head": say("safety.title"),
        "cautions": list(list_cautions(language)),
        "pages": [
            {
                "code": draw_code(sheet.code),
                "tag": print_tag(sheet.code),
                "evening": say_day(language, sheet.day),
                "morning": say_day(language, sheet.day + timedelta(days=1)),
                "worker": sheet.worker,
                "card": say("paper.card", k=sheet.page, n=sheet.n_pages),
                "lines": sheet.blank,
            }
            for sheet in sheets
        ],
    }
    pdf = print_sheet("bag_sheet", data)
    check_print(pdf, {page: [sheets[page - 1].code] for page in choose_sample(len(sheets))})
    return pdf
