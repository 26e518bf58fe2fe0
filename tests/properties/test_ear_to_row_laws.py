"""The laws of ear-to-row forms: the round trip, one normal form, F and generation counted as kinship reckons them."""

from hypothesis import given
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.advances import Advance, merge_advances, split_name, split_steps, write_name
from firstsilk.science.lineage.kinship import find_coancestry
from firstsilk.science.lineage.labels import Generation, advance_label, read_generation, write_generation
from firstsilk.science.lineage.members import check_members
from firstsilk.science.lineage.notation import Cross, advance_tree, parse_pedigree, write_pedigree
from firstsilk.science.lineage.told_pedigree import list_members, tell_pedigree

numbers = st.integers(1, 9999)
advances = st.one_of(
    st.builds(Advance, st.just("ear"), numbers),
    st.builds(Advance, st.sampled_from(["bulk", "increase"]), times=st.integers(1, 5)),
    st.builds(Advance, st.just("doubled"), st.just(0) | numbers),
)
steps = st.lists(advances, max_size=5)
names = st.sampled_from(["A", "B", "C", "5", "31", "31W", "2031", "EK12", "Turkey Red", "XA-0417", "31-0412-7", "S2"])
trees = st.recursive(
    st.builds(advance_tree, names, steps),
    lambda inner: st.builds(Cross, inner, inner) | st.builds(advance_tree, inner, steps),
    max_leaves=6,
)
ear_text = st.text(st.sampled_from(list("ABD3#1/*()-0 ")), max_size=20)


@given(trees)
def test_tree_when_written_and_read_then_the_same_tree(tree):
    assert parse_pedigree(write_pedigree(tree)) == tree


@given(ear_text)
def test_any_text_when_read_then_written_normal_or_refused_at_a_character(text):
    try:
        tree = parse_pedigree(text)
    except InputRefused as no:
        position, repair = int(dict(no.refusal.facts)["position"]), no.refusal.yes_if
        assert 1 <= position <= len(text) + 1
        assert repair
    else:
        normal = write_pedigree(tree)
        assert parse_pedigree(normal) == tree
        assert write_pedigree(parse_pedigree(normal)) == normal


@given(trees, steps, steps)
def test_advances_when_made_in_two_goes_then_as_in_one(tree, first, second):
    assert advance_tree(advance_tree(tree, first), second) == advance_tree(tree, [*first, *second])


@given(steps)
def test_advances_when_merged_then_no_generation_is_lost(made):
    merged = merge_advances(made)
    assert split_steps(merged) == split_steps(made)
    assert merge_advances(merged) == merged


@given(st.text(st.sampled_from(list("AB31#*-D ")), min_size=1, max_size=12))
def test_name_when_written_normal_then_unchanged_and_the_same_parts(name):
    normal = write_name(name)
    assert write_name(normal) == normal
    assert split_name(normal) == split_name(name) or split_name(name).source == name


@given(trees)
def test_pedigree_when_turned_into_rows_of_kinship_then_a_pedigree_that_ends_in_itself(tree):
    members = list_members(tree)
    assert members[-1].line == write_pedigree(tree)
    assert len({one.line for one in members}) == len(members)
    place = {one.line: at for at, one in enumerate(members)}
    assert all(place[parent] < at for at, one in enumerate(members) for parent in one.parents())


@given(
    st.lists(st.one_of(st.builds(Advance, st.just("ear"), numbers), st.just(Advance("bulk"))), min_size=1, max_size=6),
    st.lists(st.builds(Advance, st.just("increase"), times=st.integers(1, 3)), max_size=1),
    st.sampled_from(["A/B", "A/B//C", "A*2/B", "A/B//C/D"]),
)
def test_selfings_when_counted_then_inbreeding_as_kinship_reckons_it(selfed, increased, cross):
    tree = advance_tree(parse_pedigree(cross), [*selfed, *increased])
    told = tell_pedigree(write_pedigree(tree))
    check_members(told.members)
    kinship = find_coancestry(told.members)
    assert told.inbreeding == told.inbreeding_by_kin == kinship.inbreeding[-1]
    assert read_generation(told.generation).selfings == len(selfed)


@given(trees, steps)
def test_doubled_haploid_when_anywhere_since_the_cross_then_fully_inbred(tree, more):
    told = tell_pedigree(write_pedigree(advance_tree(tree, [Advance("doubled", 4), *more])))
    assert told.inbreeding == 1.0


@given(
    st.builds(
        Generation, st.sampled_from(["S", "F"]), st.integers(1, 40), st.just(0), st.none() | st.integers(0, 0)
    ).filter(lambda one: not (one.series == "F" and one.plant == 0)),
    st.integers(0, 20),
    st.integers(0, 20),
)
def test_label_when_advanced_in_two_goes_then_as_in_one(generation, first, second):
    label = write_generation(generation)
    assert read_generation(label) == generation
    assert advance_label(advance_label(label, first), second) == advance_label(label, first + second)
