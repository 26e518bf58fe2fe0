"""Is it told from which plant a family comes, read from names that say it, and doubted where it cannot be?"""

import pytest

from firstsilk.science.lineage.derivation import Derivation, NameSays, read_derivation, tell_stands_for
from firstsilk.science.lineage.line_rules import LineFacts, check_derivation

BEFORE = Derivation("EK12", "3", "S0")


@pytest.mark.parametrize(
    ("name", "mother", "says"),
    [
        ("EK12-3-1", "EK12-3", NameSays("family", Derivation("EK12-3", "1", "S1"))),
        ("(A/B)-4", "A/B", NameSays("family", Derivation("A/B", "4", "S1"))),
        ("EK12-3-B", "EK12-3", NameSays("bulk", BEFORE)),
        ("EK12-3-B*2", "EK12-3-B", NameSays("bulk", BEFORE)),
        ("EK12-3-B-B", "EK12-3-B", NameSays("bulk", BEFORE)),
        ("EK12-3-#", "EK12-3", NameSays("bulk", BEFORE)),
        ("EK12-3-D4", "EK12-3", NameSays("family", Derivation("EK12-3", "4", "D0"))),
        ("EK12-3-D", "EK12-3", NameSays("bulk", None)),
        ("EK12-3-1", "EK12", None),
        ("EK12-3", "", None),
        ("EK-17", "RD-73", None),
        ("EK13", "EK12", None),
        ("EK12-x", "EK12", None),
        ("EK12--3", "EK12", None),
        ("A/B/C-3", "A", None),
    ],
)
def test_name_when_it_goes_on_from_its_mothers_then_says_what_it_is(name, mother, says):
    assert read_derivation(name, mother, "S1", BEFORE) == says


def test_record_when_told_then_in_words():
    assert tell_stands_for("family", BEFORE) == "a family from plant 3 of EK12 (S0)"
    assert tell_stands_for("bulk", None) == "a bulk"
    assert tell_stands_for("plant", None) == "one plant"
    assert tell_stands_for("plant", BEFORE) == "one plant: plant 3 of EK12 (S0)"


@pytest.mark.parametrize(
    ("own", "generation", "source", "codes"),
    [
        (None, "S1", "S0", []),
        (BEFORE, "S1", "S0", []),
        (BEFORE, "F2", "F1", []),
        (BEFORE, "", "", []),
        (Derivation("EK12", "3", "F2"), "F3", "F2", []),
        (Derivation("EK12", "3", "F2"), "F2:4", "F2", []),
        (Derivation("EK12", "3", ""), "S1", "S0", []),
        (Derivation("EK12-3", "3", "S0"), "S1", "S0", ["derived_from_itself"]),
        (Derivation("EK13", "3", "S0"), "S1", "S0", ["derived_from_elsewhere"]),
        (Derivation("", "3", "S0"), "S1", "S0", ["derived_from_not_told"]),
        (Derivation("EK12", "3", "S1"), "S1", "S1", ["derived_generation_late"]),
        (Derivation("EK12", "3", "S2"), "S1", "S0", ["derived_generation_odd", "derived_generation_late"]),
        (Derivation("EK12", "3", "D0"), "D1", "S2", []),
        (Derivation("EK12", "3", "S2"), "D1", "S2", []),
    ],
)
def test_derivation_when_it_cannot_be_then_found(own, generation, source, codes):
    mother = LineFacts("EK12", "line", "founder", generation=source)
    line = LineFacts("EK12-3", "line", "self", "EK12", selfings=1, generation=generation, derived=own)
    found = list(check_derivation(line, {"EK12": mother, "EK12-3": line}))
    assert [one.code for one in found] == codes
    assert all(one.place.column.startswith("derived_") and one.message and one.repair for one in found)
