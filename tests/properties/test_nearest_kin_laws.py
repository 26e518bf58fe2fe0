"""Does the search for the closest kin find what the table of all pairs says, whatever the pedigree and the seed?"""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, LineMerge
from firstsilk.work.lineage import nearest
from firstsilk.work.lineage.ancestry import find_kinship, read_books, read_family
from firstsilk.work.lineage.nearest import Nearest
from firstsilk.work.standing import read_kept
from tests.factories import make_station

pytestmark = pytest.mark.django_db

WANTED = 4
METHODS = ("founder_inbred", "founder", "cross", "cross", "cross", "self", "self", "dh", "sib", "bulk", "open")


@st.composite
def pedigrees(draw):
    """Lines, each made from earlier ones: method, mother and father by place, selfings, and free kernels."""
    made = [("founder_inbred", None, None, 1, 9), ("founder", None, None, 1, 0)]
    for at in range(2, draw(st.integers(4, 16))):
        method = draw(st.sampled_from(METHODS))
        mother, father = draw(st.integers(0, at - 1)), draw(st.integers(0, at - 1))
        if method in ("sib", "bulk") and "founder" in (made[mother][0], made[father][0]):
            method = "self"
        if method == "cross" and mother == father:
            method = "self"
        if method.startswith("founder"):
            mother = None
        if method not in ("cross", "bulk"):
            father = None
        made.append((method, mother, father, draw(st.integers(1, 3)), draw(st.integers(0, 2))))
    return made


def write_lines(station, made):
    lines = []
    for at, (method, mother, father, selfings, _) in enumerate(made):
        parents = {"mother": lines[mother] if mother is not None else None}
        parents["father"] = lines[father] if father is not None else None
        told = {"method": method, "selfings": selfings, **parents}
        lines.append(Line.objects.create(station=station, name=f"N{at:02}", **told))
    return lines


def find_by_table(line, lines, free, books):
    """The closest kin from all pairs of the whole pedigree: the slow way."""
    kinship = find_kinship(lines, books)
    place = {name: at for at, name in enumerate(kinship.lines)}
    row = kinship.coancestry[place[line.name]]
    close = [(one.name, float(row[place[one.name]])) for one in lines if one != line and free.get(one.pk)]
    found = sorted((one for one in close if one[1] > 0), key=lambda one: (-one[1], one[0]))
    return float(kinship.inbreeding[place[line.name]]), found


def search(station, line, free):
    books = read_family(station, [line.pk], read_kept(station))
    one = Nearest(station, books.get_standing(books[line.pk]), books)
    found = one.find(WANTED, lambda lines: {each.pk: free[each.pk] for each in lines if free.get(each.pk)})
    return one.inbreeding, [(each.name, close) for each, close, _ in found], one


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(pedigrees(), st.data())
def test_the_search_finds_what_the_table_of_all_pairs_says(db, made, data):
    station = make_station(code=f"s{Line.objects.count()}")
    lines = write_lines(station, made)
    free = {one.pk: kernels for one, (*_, kernels) in zip(lines, made, strict=True)}
    line = data.draw(st.sampled_from(lines))
    try:
        wanted = find_by_table(line, lines, free, read_books(station))
    except InputRefused:
        return
    inbreeding, found, _ = search(station, line, free)
    assert inbreeding == wanted[0]
    assert [close for _, close in found] == [close for _, close in wanted[1][:WANTED]]
    assert set(found) <= set(wanted[1])


def test_lines_merged_into_others_count_as_the_line_kept(db):
    station = make_station()
    made = [
        ("founder_inbred", None, None, 1, 1),
        ("founder_inbred", None, None, 1, 1),
        ("founder_inbred", None, None, 1, 0),
    ]
    made += [("cross", 0, 1, 1, 1), ("self", 3, None, 2, 1), ("cross", 2, 0, 1, 1)]
    lines = write_lines(station, made)
    LineMerge.objects.create(station=station, kept=lines[1], gone=lines[2], reason="one", merged_on=date(2031, 7, 1))
    free = {one.pk: kernels for one, (*_, kernels) in zip(lines, made, strict=True)}
    # N05 is now a cross of N01 with N00, as N03 is.
    assert ("N05", 0.5) in search(station, lines[4], free)[1]


def test_a_search_that_would_look_at_too_many_stops_and_says_so(db, monkeypatch):
    monkeypatch.setattr(nearest, "MOST_LOOKED_AT", 5)
    station = make_station()
    lines = write_lines(station, [("founder_inbred", None, None, 1, 0), *[("dh", 0, None, 1, 0)] * 9])
    _, found, one = search(station, lines[0], {})
    assert (found, one.is_cut) == ([], True)
    assert one.looked_at <= 5
