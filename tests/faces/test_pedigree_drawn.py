"""Is the tree of ancestors drawn whole on a wide and on a narrow screen, every box inside and none on another?"""

from __future__ import annotations

import re

import pytest

from firstsilk.faces.pages.lineage.drawing import NARROW, draw_ancestors, draw_ancestors_narrow
from firstsilk.work.lineage.ancestry import Ancestor

BOX = re.compile(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"')
SIZE = re.compile(r'viewBox="0 0 (\d+) (\d+)"')


def _grow(name: str, generations: int) -> Ancestor:
    if generations == 0:
        return Ancestor(name, "inbred founder", "", "", is_cut=True)
    parents = (_grow(f"{name}.{at}", generations - 1) for at in (1, 2))
    return Ancestor(name, "cross", "", "F1", *parents)


LONE = Ancestor("E1-1", "selfed", "", "S1", Ancestor("E1", "founder", "", ""))


@pytest.mark.parametrize("draw", [draw_ancestors, draw_ancestors_narrow])
@pytest.mark.parametrize("tree", [_grow("E", 1), _grow("E", 4), _grow("E", 6), LONE], ids=["2", "4", "6", "one parent"])
def test_every_line_has_a_box_and_a_link_inside_the_picture_and_none_lies_on_another(draw, tree):
    text = str(draw(tree))
    wide, high = (int(one) for one in SIZE.search(text).groups())
    boxes = [tuple(float(one) for one in found) for found in BOX.findall(text)]
    lines = 2 if tree is LONE else 2 ** (_depth(tree) + 1) - 1
    assert len(boxes) == text.count("<a href=") == lines
    for x, y, width, height in boxes:
        assert x >= 0
        assert y >= 0
        assert x + width <= wide
        assert y + height <= high
        assert height >= 40  # a finger finds it
    for at, (x, y, width, height) in enumerate(boxes):
        for other_x, other_y, other_width, other_height in boxes[at + 1 :]:
            apart = x + width <= other_x or other_x + other_width <= x
            assert apart or y + height <= other_y or other_y + other_height <= y


def _depth(tree: Ancestor) -> int:
    return 0 if tree.female is None else 1 + _depth(tree.female)


def test_the_narrow_tree_is_as_wide_as_a_phone_however_deep_and_female_stands_before_male():
    text = str(draw_ancestors_narrow(_grow("E", 6)))
    assert SIZE.search(text).group(1) == str(NARROW) == "340"
    narrowest = min(float(width) for _, _, width, _ in BOX.findall(text))
    assert narrowest >= 200  # wide enough for the longest name shown
    short = str(draw_ancestors_narrow(_grow("E", 1)))
    assert short.index("♀ E.1") < short.index("♂ E.2")
    assert "♀" not in str(draw_ancestors_narrow(LONE))
