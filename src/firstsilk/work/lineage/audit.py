"""Which lines of the books cannot be what their records say on a day?"""

from __future__ import annotations

from datetime import date

from firstsilk.records.models import Station
from firstsilk.science.lineage.derivation import Derivation
from firstsilk.science.lineage.line_rules import LineFacts, check_lines
from firstsilk.work.audited import Found
from firstsilk.work.standing import lines_on, read_kept_names


def audit_lines(station: Station, day: date) -> tuple[list[Found], int]:
    """Findings about lines, and how many lines were looked at."""
    records = lines_on(station, day).order_by("name")
    told = records.values_list(
        *("name", "kind", "method", "mother__name", "father__name", "selfings", "generation", "group"),
        *("derived_from__name", "derived_plant", "derived_generation"),
    )
    lines = [
        LineFacts(
            *(name, kind, method, mother or "", father or "", selfings, generation, group),
            Derivation(source or "", plant, before) if source or plant or before else None,
        )
        for name, kind, method, mother, father, selfings, generation, group, source, plant, before in told
    ]
    return [Found("lineage", "line", name, name, one) for name, one in check_lines(lines)], len(lines)


def read_merged(station: Station, day: date) -> dict[str, str]:
    """The line that stands for each line merged into another by a day: the two are one, whichever a record names."""
    return read_kept_names(station, day)
