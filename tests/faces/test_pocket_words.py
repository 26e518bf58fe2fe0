"""Does the phone page say the same in each language, and is every sentence that it asks for in the catalogues?"""

from __future__ import annotations

import json
import re

import pytest

from firstsilk.faces.pocket.views import FOLDER
from firstsilk.science.flowering.day_rows import ORDER
from firstsilk.science.flowering.notes import KINDS, POLLINATION_TYPES

LANGUAGES = ("en", "fr", "es")
WORDS = {code: json.loads((FOLDER / f"words.{code}.json").read_text("utf-8")) for code in LANGUAGES}
SOURCES = {
    path.name: path.read_text("utf-8")
    for path in FOLDER.glob("*.js")
    if path.name not in ("zxing_reader.js", "scan_worker.js")
}
GROUPS = (
    "deed",
    "ask",
    "task",
    "order",
    "step",
    "why",
    "doubt",
    "type",
    "cause",
    "trait",
    "mark",
    "count",
    "no",
    "tag",
)
"""Beginnings of keys that the page puts together."""


def _values(sentence: str) -> list[str]:
    return sorted(set(re.findall(r"\{(\w+)\}", sentence)))


def test_each_language_has_the_same_sentences_and_none_is_empty():
    for code in LANGUAGES:
        assert sorted(WORDS[code]) == sorted(WORDS["en"]), code
        assert all(text.strip() for text in WORDS[code].values()), code


def test_each_sentence_has_the_same_values_in_each_language():
    for key, text in WORDS["en"].items():
        for code in LANGUAGES[1:]:
            assert _values(WORDS[code][key]) == _values(text), (code, key)


def test_sentences_are_translated():
    long = {key: text for key, text in WORDS["en"].items() if len(re.sub(r"\{\w+\}", "", text)) > 12}
    same = {key for key, text in long.items() if text in (WORDS["fr"][key], WORDS["es"][key])}
    assert same == set()


def test_no_line_of_french_begins_with_its_points():
    loose = re.compile(r" [:;?!»]|« ")
    assert [key for key, text in WORDS["fr"].items() if loose.search(text)] == []


@pytest.mark.parametrize("name", sorted(SOURCES))
def test_every_sentence_that_the_page_asks_for_is_in_the_catalogues(name):
    # A word in quotes with a point in it, as the first thing that say() or a choice between two of them is given.
    asked = set(
        re.findall(
            r"(?:say(?:InEnglish)?\(|[?:] )\"([a-z_]+\.[a-z_.]+|back|save|keep|open|ok|undo|sending)\"", SOURCES[name]
        )
    )
    assert asked <= set(WORDS["en"]), sorted(asked - set(WORDS["en"]))


def test_every_sentence_of_the_catalogues_is_asked_for_somewhere():
    every = "\n".join(SOURCES.values())
    unused = [key for key in WORDS["en"] if f'"{key}"' not in every and key.split(".")[0] not in GROUPS]
    built = re.compile(r"`(\w+)\.\$\{")
    prefixes = set(built.findall(every)) | {"safety", "bags", "handoff"}
    assert [key for key in unused if key.split(".")[0] not in prefixes] == []


def test_doubts_of_the_page_are_all_worded_and_fit_a_note():
    codes = set(re.findall(r"say\(\"([a-z_]+)\"", SOURCES["checks.js"])) | {"bag_without_row"}
    assert len(codes) >= 15
    for code in codes:
        assert f"doubt.{code}" in WORDS["en"]
        assert len(code) <= 40


def test_kinds_and_types_of_the_page_are_those_of_the_station():
    deeds = re.findall(r"kind: \"(\w+)\"", SOURCES["deeds.js"])
    assert set(deeds) <= set(KINDS)
    assert {f"deed.{kind}" for kind in deeds} <= set(WORDS["en"])
    types = {key.removeprefix("type.") for key in WORDS["en"] if key.startswith("type.")} - {"none", "planned"}
    assert types == set(POLLINATION_TYPES)
    quoted = SOURCES["deeds.js"].split("TYPES = [")[1].split("]")[0]
    assert set(re.findall(r'"(\w+)"', quoted)) == types
    assert {f"cause.{name}" for name in KINDS["spoiled"].details} <= set(WORDS["en"])
    assert {f"trait.{name}" for name in KINDS["rated"].details} <= set(WORDS["en"])
    whys = re.findall(r'"(\w+)"', SOURCES["deeds.js"].split("WHYS = [")[1].split("]")[0])
    assert tuple(whys) == KINDS["ears_left"].details
    assert {f"left.{name}" for name in whys} <= set(WORDS["en"])


def test_instructions_of_the_station_are_all_worded():
    from firstsilk.work.flowering.walk import _SENTENCES

    assert {f"step.{code}" for code in _SENTENCES} <= set(WORDS["en"])


def test_phone_knows_every_kind_of_task_of_the_day_list():
    tasks = set(re.findall(r"^  (\w+): \[", SOURCES["deeds.js"].split("TASK_KINDS = {")[1].split("};")[0], re.M))
    assert tasks == set(ORDER)
    assert {f"task.{task}" for task in ORDER} <= set(WORDS["en"])
