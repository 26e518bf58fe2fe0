"""Which generation does a label stand for, and what follows it?

``S0 S1 ...`` selfing generations of a source plant, ``F1 F2 ...`` of a cross, ``BC1F1 BC1F2 ...`` of a backcross,
``D0 D1 ...`` haploids and their doubled progeny, ``TC1`` a testcross. ``F2:3`` is an F3 family from one F2 plant: the
plant's generation before the colon, the family's own behind it (common practice, no source).
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

_LABEL = re.compile(r"(?:BC([1-9][0-9]?))?(S|F|D|TC)(0|[1-9][0-9]?)(?::([1-9][0-9]?))?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Generation:
    """A generation: its series (S, F, D or TC), its number, backcrosses before it, and the source plant's number.

    `plant` is the number of the generation of the one plant that a family comes from, None if none is told.
    """

    series: str
    number: int
    backcrosses: int = 0
    plant: int | None = None

    @property
    def selfings(self) -> int | None:
        """Selfings since the source plant or the last cross [count]; None for a testcross."""
        return None if self.series == "TC" else self.number - (self.series == "F")


def read_generation(label: str) -> Generation | None:
    """Read a label such as ``S3``, ``F2:3`` or ``BC1F2``; None if it is none.

    Parameters
    ----------
    label
        The label; blanks around it do not count.

    Returns
    -------
    Generation or None
        None also for what cannot be: F0, a family not later than its plant.

    Checked by
    ----------
    tests/science/test_labels.py
    """
    found = _LABEL.fullmatch(label.strip())
    if found is None:
        return None
    backcrosses, series = int(found[1] or 0), found[2]
    first, second = int(found[3]), None if found[4] is None else int(found[4])
    number = first if second is None else second
    impossible = (
        (backcrosses and series != "F")
        or (series in ("F", "TC") and first < 1)
        or (second is not None and (series not in ("S", "F") or second <= first))
    )
    return None if impossible else Generation(series, number, backcrosses, None if second is None else first)


def write_generation(generation: Generation) -> str:
    """The label of a generation; reading it gives the generation back.

    Checked by
    ----------
    tests/properties/test_ear_to_row_laws.py
    """
    before = f"BC{generation.backcrosses}" if generation.backcrosses else ""
    plant = "" if generation.plant is None else f"{generation.plant}:"
    return f"{before}{generation.series}{plant}{generation.number}"


def advance_label(label: str, selfings: int = 1) -> str:
    """The label so many selfings later: S0 to S1, F1 to F2, BC1F1 to BC1F2, D0 to D1, F2:3 to F2:4.

    Parameters
    ----------
    label
        The label of the plants that are selfed.
    selfings
        Generations of selfing [count].

    Returns
    -------
    str
        The label of the seed; empty if it cannot be told, as behind a testcross.

    Checked by
    ----------
    tests/science/test_labels.py, tests/science/test_generation.py
    """
    found = read_generation(label)
    if found is None or found.series == "TC":
        return ""
    return write_generation(replace(found, number=found.number + selfings))


def find_label_inbreeding(label: str) -> float | None:
    """The inbreeding F of a plant of this generation [0 to 1]; None if the label does not tell it.

    Parameters
    ----------
    label
        The label, such as ``F2:3``.

    Returns
    -------
    float or None
        1 - (1/2)^t after t selfings; 1 - (1/2)^(n + t) for n backcrosses to an inbred parent; 1 for doubled haploids.

    Notes
    -----
    S0 and F1 count as not inbred: the parents of an F1 as unrelated, the recurrent parent of a backcross as inbred.

    References
    ----------
    Wright 1922; Falconer & Mackay 1996, Introduction to Quantitative Genetics, ch. 5.

    Checked by
    ----------
    tests/outside/test_ear_to_row_published.py
    """
    found = read_generation(label)
    if found is None or found.series == "TC":
        return None
    if found.series == "D":
        return 1.0
    return float(1.0 - 0.5 ** (found.backcrosses + (found.selfings or 0)))
