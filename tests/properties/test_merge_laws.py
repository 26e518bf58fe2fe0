"""Which laws hold for merges of records? What is merged and taken back answers as if nothing had been."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import astuple, replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, LineMerge, Station
from firstsilk.work.lineage.ancestry import find_kinship, read_books
from firstsilk.work.lineage.line import read_line
from firstsilk.work.lineage.lines import list_lines
from firstsilk.work.lineage.merges import merge_lines, undo_merge
from firstsilk.work.occasion import Occasion

pytestmark = pytest.mark.django_db(transaction=False)

ON = Occasion("esker", date(2031, 10, 1), datetime(2031, 10, 1, 9, 0, tzinfo=UTC))
FEW = settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
NAMES = [f"L{at}" for at in range(6)]


def build(parents):
    """A station whose six lines come from the pairs given, each an earlier line or none."""
    LineMerge.objects.all().delete()
    Line.objects.filter(father__isnull=False).update(father=None)
    Line.objects.update(mother=None)
    Line.objects.all().delete()
    station, _ = Station.objects.get_or_create(code="esker", defaults={"name": "Eskerholm", "latitude": 54.0})
    lines: list[Line] = []
    for at, pair in enumerate(parents):
        mother, father = (lines[one % at] if one is not None and at else None for one in pair)
        told = (
            {"method": "cross", "mother": mother, "father": father}
            if mother and father != mother and father
            else {"method": "founder"}
        )
        lines.append(Line.objects.create(station=station, name=NAMES[at], **told))
    return station


def read_everything():
    """All that pages say of these lines, and their kinship."""
    station = Station.objects.get()
    books = read_books(station, ON.today)
    kinship = find_kinship(books.values(), books)
    pages = [astuple(replace(read_line(ON, name), timeline=())) for name in NAMES[-3:]]
    return pages, list_lines(ON), kinship.lines, kinship.coancestry.tolist()


pedigrees = st.lists(
    st.tuples(st.one_of(st.none(), st.integers(0, 99)), st.one_of(st.none(), st.integers(0, 99))),
    min_size=6,
    max_size=6,
)
pairs = st.lists(st.tuples(st.sampled_from(NAMES), st.sampled_from(NAMES)), min_size=1, max_size=4)


@FEW
@given(pedigrees, pairs)
def test_merges_when_all_taken_back_give_every_answer_as_before(db, parents, asked):
    build(parents)
    before = read_everything()
    done = []
    for kept, gone in asked:
        try:
            done.append(merge_lines(ON, kept, gone, "a law").merge.gone)
        except InputRefused:
            continue
    for gone in done if len(done) % 2 else reversed(done):
        undo_merge(ON, gone)
    assert read_everything() == before


@FEW
@given(pedigrees, pairs)
def test_no_merge_that_is_let_through_makes_a_line_its_own_ancestor(db, parents, asked):
    station = build(parents)
    for kept, gone in asked:
        with suppress(InputRefused):
            merge_lines(ON, kept, gone, "a law")
    books = read_books(station, ON.today)
    kinship = find_kinship(books.values(), books)
    assert set(kinship.lines) == {line.name for line in books.values() if line.pk not in books.kept}
