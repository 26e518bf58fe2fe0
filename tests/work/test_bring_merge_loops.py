"""Are loops seen that only a merge of two records closes, wherever in a table the last step of them stands?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.files.station import read_station_files
from firstsilk.records.models import Line
from firstsilk.science.lineage.members import Member
from firstsilk.work.bring.merge_loops import check_merge_loops
from firstsilk.work.bring.store import bring_station
from firstsilk.work.bring.tables import LineGiven
from firstsilk.work.lineage.merges import merge_lines, undo_merge

HEAD = "line,kind,stands_for,method,mother,father\n"


def bring(on, *rows):
    return bring_station(on, read_station_files({"lines.csv": (HEAD + "".join(f"{row}\n" for row in rows)).encode()}))


def test_a_line_brought_from_its_own_progeny_by_way_of_a_merge_is_refused_with_the_whole_loop(on):
    bring(on, "N1,line,family,founder_inbred,,")
    merge_lines(replace(on, who="command"), "E1", "N1", "one seed")
    with pytest.raises(InputRefused) as refused:
        bring(on, "N1,line,family,dh,E3-1-4,")
    (finding,) = [one for one in refused.value.findings if one.code == "pedigree_loop"]
    assert "E1 <- E3-1-4 <- E3-1 <- E1/E2 <- E1" in finding.message
    assert "'N1' is merged into 'E1'" in finding.message
    assert (finding.place.line, finding.place.column, finding.value) == (2, "mother", "E3-1-4")
    assert Line.objects.get(name="N1").mother is None


def test_the_same_table_is_stored_once_the_merge_is_undone(on):
    bring(on, "N1,line,family,cross,E2,")
    merge_lines(replace(on, who="command"), "E1", "N1", "one seed")
    with pytest.raises(InputRefused, match="would be its own ancestor"):
        bring(on, "N1,line,family,cross,E2,E3-1-4")
    undo_merge(replace(on, who="command"), "N1")
    bring(on, "N1,line,family,cross,E2,E3-1-4")
    assert Line.objects.get(name="N1").father.name == "E3-1-4"


def test_a_line_that_a_merge_leaves_in_order_is_stored(on):
    bring(on, "N1,line,family,founder_inbred,,")
    merge_lines(replace(on, who="command"), "E1", "N1", "one seed")
    bring(on, "N2,line,family,dh,N1,", "N3,line,family,cross,N2,E1")
    assert Line.objects.get(name="N3").father.name == "E1"


def find(members, merged):
    lines = [
        LineGiven(at_file="lines.csv", at_line=at + 2, line=one.line, method=one.method, mother=one.mother)
        for at, one in enumerate(members)
    ]
    return [one.message for one in check_merge_loops(lines, members, merged)]


def test_a_record_made_from_the_one_it_was_merged_into_is_a_loop_of_one():
    members = [Member("K", "founder_inbred"), Member("G", "dh", "K")]
    (told,) = find(members, {"G": "K"})
    assert "'K' would be its own ancestor: K <- K" in told


def test_two_loops_that_do_not_touch_are_both_told_and_a_straight_line_is_not():
    members = [Member(name, "founder_inbred") for name in ("A", "B", "C")]
    members += [Member("A1", "dh", "A"), Member("B1", "dh", "B"), Member("A2", "dh", "A1"), Member("C1", "dh", "C")]
    told = find(members, {"A2": "A", "B1": "B", "C": "B"})
    assert len(told) == 2
    assert "A1 <- A <- A1" in told[0]
    assert "B <- B" in told[1]
    assert find(members, {"C1": "B"}) == []
