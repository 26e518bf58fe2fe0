"""Are the worked examples of `docs/heat.md` what the forms give, and does the page name every form and rule?"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from firstsilk.science.climate.heat_forms import FORMS, count_by_form
from firstsilk.science.climate.season_rules import RULES

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "heat.md").read_text(encoding="utf-8")
ROWS = [[cell.strip() for cell in line.strip("|").split("|")] for line in PAGE.splitlines() if line.startswith("| `")]
EXAMPLES = {"chu": ((10, 25), (2, 20), (6, 9), (15, 30)), "gdd_c": ((4, 20), (8, 34), (18, 32))}
CUTOFFS = ("", "-horizontal", "-intermediate", "-vertical")


def examples():
    """Form, minimum, maximum, next minimum and the units printed."""
    for name, *cells in ROWS:
        form = next((one for one in FORMS if one.name == name.strip("`")), None)
        # Two season rules carry the names of forms; their lines have no numbers.
        if form is None or not any(re.fullmatch(r"[−\d.]+", cell) for cell in cells):
            continue
        if form.family == "chu":
            days, printed = EXAMPLES["chu"], cells[2:6]
        elif len(cells) == 4 and re.fullmatch(r"[\d.]+", cells[0]):
            for cutoff, units in zip(CUTOFFS, cells, strict=True):
                yield form.name + cutoff, 8, 34, 14, units
            continue
        else:
            days, printed = EXAMPLES["gdd_c"], cells[1:4]
        for (low, high), units in zip(days, printed, strict=True):
            yield form.name, low, high, low, units


CASES = list(examples())


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[0]} {case[1]}/{case[2]}")
def test_a_worked_example_of_the_page_is_what_the_form_gives(case):
    form, low, high, after, printed = case
    scale = "chu" if form in ("ontario", "unfloored", "night-4.44", "prairie") else "gdd_c"
    ours = count_by_form([low], [high], scale, form, "c", [after])[0]
    assert ours == pytest.approx(float(printed.replace("−", "-")), abs=0.00051)


def test_the_page_has_an_example_of_every_form_of_days_and_names_every_rule() -> None:
    assert {case[0] for case in CASES} == {form.name for form in FORMS if form.needs != "hours"}
    assert all(f"`{form.name}`" in PAGE for form in FORMS if form.needs == "hours")
    assert all(f"| `{rule.name}` |" in PAGE for rule in RULES)
