"""Are generation labels read, advanced and refused as the trade writes them?"""

import pytest

from firstsilk.science.lineage.labels import Generation, advance_label, read_generation, write_generation


@pytest.mark.parametrize(
    ("label", "generation", "selfings"),
    [
        ("S0", Generation("S", 0), 0),
        ("S3", Generation("S", 3), 3),
        ("F1", Generation("F", 1), 0),
        ("F4", Generation("F", 4), 3),
        ("F2:3", Generation("F", 3, plant=2), 2),
        ("S0:1", Generation("S", 1, plant=0), 1),
        ("BC1F1", Generation("F", 1, 1), 0),
        ("BC2F2:4", Generation("F", 4, 2, 2), 3),
        ("D1", Generation("D", 1), 1),
        ("TC1", Generation("TC", 1), None),
        (" F2 ", Generation("F", 2), 1),
    ],
)
def test_label_when_read_then_its_series_number_and_selfings(label, generation, selfings):
    assert read_generation(label) == generation
    assert generation.selfings == selfings
    assert write_generation(generation) == label.strip()


@pytest.mark.parametrize(
    "label", ["", "F", "F0", "F3:2", "F2:2", "D1:2", "BC0F1", "BC1S1", "BCF1", "DH", "f2", "F2:", "F٢", "F200", "TC0"]
)
def test_label_when_it_cannot_be_then_none(label):
    assert read_generation(label) is None
    assert advance_label(label) == ""


@pytest.mark.parametrize(
    ("label", "selfings", "after"),
    [("S0", 1, "S1"), ("F1", 3, "F4"), ("F2:3", 1, "F2:4"), ("BC1F1", 1, "BC1F2"), ("D0", 1, "D1"), ("TC1", 1, "")],
)
def test_label_when_selfed_then_so_many_later(label, selfings, after):
    assert advance_label(label, selfings) == after
