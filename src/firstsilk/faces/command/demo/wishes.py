"""What does the invented breeder want of the nursery, beside what the verdicts ask for?

First crosses are selfed to find early plants, families not fixed yet are selfed on, and doubled haploids meet the
first tester of the other group.
"""

from __future__ import annotations

from firstsilk.work.lineage.lines import LineFacts, list_lines
from firstsilk.work.nursery.plan import Want
from firstsilk.work.occasion import Occasion

SELF_OF_CROSS_EARS = 8
SELF_OF_FAMILY_EARS = 4
TESTCROSS_EARS = 4


def list_all_lines(on: Occasion, kind: str = "") -> list[LineFacts]:
    """Every line or hybrid of the books, all pages of the list."""
    first = list_lines(on, kind=kind)
    pages = [first, *(list_lines(on, kind=kind, page=page) for page in range(2, first.n_pages + 1))]
    return [line for page in pages for line in page.lines]


def list_wishes(on: Occasion, known: set[tuple[str, str]]) -> list[Want]:
    """The breeder's own wishes for which there is seed, without those that the plan holds already.

    Parameters
    ----------
    known
        Female and male of each target in the plan; the male is empty for a self.
    """
    lines = [line for line in list_all_lines(on) if line.kind == "line" and line.verdict != "stop"]
    testers = {
        line.group: line.name for line in sorted(lines, key=lambda one: one.name, reverse=True) if line.is_tester
    }
    wants = []
    for line in lines:
        want = _wish(line, testers)
        if want is not None and line.free_kernels > 0 and (want.female, want.male) not in known:
            wants.append(want)
    return wants


def _wish(line: LineFacts, testers: dict[str, str]) -> Want | None:
    if line.method == "cross" and line.group and line.n_lots:
        return Want("self", line.name, ears=SELF_OF_CROSS_EARS, priority=2, reason="select the earliest clean plants")
    if line.method == "self" and line.generation in ("F4", "F5", "F6"):
        return Want("self", line.name, ears=SELF_OF_FAMILY_EARS, priority=2, reason="not fixed yet")
    other = next((name for group, name in testers.items() if group != line.group), "")
    if line.method == "dh" and other:
        return Want("testcross", line.name, other, TESTCROSS_EARS, priority=1, reason="first testcross of a new line")
    return None
