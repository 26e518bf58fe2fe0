"""How does paper speak: the words of a sheet in English, French or Spanish?

What paper shares with the phone is said in the phone's own words, so that a worker meets one wording; what only paper
says stands beside the sheets.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from functools import cache
from pathlib import Path

from firstsilk.answers import refuse

LANGUAGES = ("en", "fr", "es")
_OWN = Path(__file__).parent / "sheets"
_PHONE = Path(__file__).parents[1] / "pocket" / "static" / "pocket"
CAUTIONS = ("heat", "new", "ill", "pollen", "spray")
"""The cautions of the phone, in its order; they stand on every sheet that goes to the field."""


@cache
def read_words(language: str) -> dict[str, str]:
    """All words of a language by key.

    Raises
    ------
    InputRefused
        If the sheets are not in that language.
    """
    if language not in LANGUAGES:
        told = f"The sheets are not in the language {language[:20]!r}."
        raise refuse("language_unknown", told, f"Use {', '.join(LANGUAGES)}.")
    both = {}
    for folder in (_PHONE, _OWN):
        both |= json.loads((folder / f"words.{language}.json").read_text(encoding="utf-8"))
    return both


def choose_words(language: str) -> Callable[..., str]:
    """A function that says a key in the language, with values put in: ``say("row.name", row=34)``."""
    words = read_words(language)

    def say(key: str, **values: object) -> str:
        return words[key].format(**values)

    return say


def say_day(language: str, day: date) -> str:
    """A day with its month in letters, so that nobody swaps the two."""
    words = read_words(language)
    months = words["paper.months"].split()
    return words["paper.day"].format(day=day.day, month=months[day.month - 1], year=day.year)


def list_cautions(language: str) -> tuple[str, ...]:
    """The cautions of a day in the field, and that law and labels decide."""
    words = read_words(language)
    return (*(words[f"safety.{name}"] for name in CAUTIONS), words["safety.limits"])
