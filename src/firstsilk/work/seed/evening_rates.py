"""How many kernels does an ear of a line give, by all that was known last evening?"""

from __future__ import annotations

from datetime import date, timedelta
from functools import lru_cache

from firstsilk.records.models import Note, Station
from firstsilk.science.seed.line_rates import LineCounts, ProgrammeRates, learn_programme, rate_line
from firstsilk.work.seed.success import count_lines
from firstsilk.work.standing import read_kept_names


def read_evening_kernels(station: Station, line: str, today: date) -> float:
    """Kernels that a good ear of this line gives on average, by notes taken before today.

    Notes
    -----
    It is learnt from all rows of the station, which takes a second where they are many. At the bench an ear follows the
    other, and what was noted today must not make each of them wait: it is learnt once and kept until a note of an
    earlier day comes in. Checked by tests/work/test_scan_notes.py.
    """
    evening = today - timedelta(days=1)
    before = Note.objects.filter(station=station, practice=False, taken_on__lte=evening)
    # The hash of the last note stands for all notes before it too.
    last = before.order_by("-position").values_list("hash", flat=True).first()
    counts, programme = _learn(station.pk, evening, last or "")
    name = read_kept_names(station, evening).get(line, line)
    return rate_line(counts.get(name, LineCounts(name)), programme).kernels_per_ear


@lru_cache(maxsize=4)
def _learn(station: int, evening: date, last: str) -> tuple[dict[str, LineCounts], ProgrammeRates]:
    """Counts of all lines, and the programme's; `last` says which notes they were made of."""
    counts = count_lines(Station.objects.get(pk=station), evening)[0] if last else {}
    return counts, learn_programme(tuple(counts.values()))
