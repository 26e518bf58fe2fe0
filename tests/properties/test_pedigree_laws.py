"""The laws of written pedigrees: the round trip, one normal form a tree, shares that sum to one, no fault."""

import contextlib
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.lineage.advances import write_name
from firstsilk.science.lineage.notation import Cross, Tree, find_shares, parse_pedigree, write_pedigree

few_names = st.sampled_from(["A", "B", "C", "3", "12", "XA26-0417-3", "Turkey Red", "x", "Å.1_b"])
any_names = (
    st.text(
        st.characters(categories=["Lu", "Ll", "Nd", "Pd", "Po"], exclude_characters="/*()[]{};×"),
        min_size=1,
        max_size=8,
    )
    .filter(lambda name: all(name.split("-")))
    .map(write_name)
)
trees = st.recursive(few_names | any_names, lambda inner: st.builds(Cross, inner, inner), max_leaves=14)
notation_text = st.text(st.sampled_from(list("AB3/*()2- ;x")), max_size=24)


def _bracketed(tree: Tree) -> str:
    """The same tree written in the plainest way: brackets everywhere, no doses, no orders."""
    if isinstance(tree, str):
        return f"({tree})"
    return f"({_bracketed(tree.female)}/{_bracketed(tree.male)})"


def _halved(tree: Tree, share: Fraction, into: dict[str, Fraction]) -> dict[str, Fraction]:
    if isinstance(tree, str):
        into[tree] = into.get(tree, Fraction(0)) + share
    else:
        _halved(tree.female, share / 2, into)
        _halved(tree.male, share / 2, into)
    return into


@given(trees)
def test_tree_when_written_and_read_then_the_same_tree(tree):
    assert parse_pedigree(write_pedigree(tree)) == tree


@given(trees)
def test_tree_when_written_with_brackets_alone_then_the_same_tree(tree):
    assert parse_pedigree(_bracketed(tree)) == tree


@given(trees)
def test_normal_form_when_read_and_written_then_unchanged(tree):
    normal = write_pedigree(tree)
    assert write_pedigree(parse_pedigree(normal)) == normal


@given(trees)
def test_shares_when_found_then_sum_to_one_and_equal_the_slow_halving(tree):
    shares = find_shares(tree)
    assert sum(shares.values()) == 1
    assert shares == _halved(tree, Fraction(1), {})
    assert list(shares) == list(_halved(tree, Fraction(1), {}))


@given(notation_text)
def test_any_text_when_read_then_a_tree_or_a_refusal_that_names_a_character(text):
    try:
        tree = parse_pedigree(text)
    except InputRefused as no:
        position = int(dict(no.refusal.facts)["position"])
        assert 1 <= position <= len(text) + 1
    else:
        assert parse_pedigree(write_pedigree(tree)) == tree


@given(st.text(max_size=40))
def test_any_unicode_when_read_then_never_a_fault(text):
    with contextlib.suppress(InputRefused):
        assert find_shares(parse_pedigree(text))
