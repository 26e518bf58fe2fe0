"""How many plants, seeds or carriers are needed, and how likely is it that they are enough?

Counts are always rounded up: 10.4 plants are 11.
"""

from __future__ import annotations

import math

from scipy.stats import binom

from firstsilk.answers import refuse

PLANTS_MAX = 10_000_000
"""Beyond this a plan is no plan. Our own bound."""
_ROUNDING = 1e-12  # the binomial tail is computed in floating point: 0.75 may come out a hair below


def plan_plants(chance: float, assurance: float, at_least: int = 1) -> int:
    """The smallest number of plants so that enough of them have what is looked for.

    Parameters
    ----------
    chance
        The chance that one plant has it [0 to 1]; for seeds and stands, germination x establishment.
    assurance
        The wanted chance of success [0 to 1].
    at_least
        Plants wanted that have it [count, 1 or more].

    Returns
    -------
    int
        Smallest n with P(Bin(n, chance) >= at_least) >= assurance.

    Raises
    ------
    InputRefused
        If `chance` is not above 0 and at most 1, `assurance` not between 0 and 1, `at_least` below 1, or more than
        ten million plants would be needed.

    Notes
    -----
    Exact binomial tail; for at_least = 1 it is ceil(ln(1-P) / ln(1-p)). Plants are taken as independent.

    References
    ----------
    Sedcole 1977, Number of plants necessary to recover a trait, Crop Science 17:667.

    Checked by
    ----------
    tests/outside/test_lineage.py; counting up one by one in tests/science/test_chances.py
    """
    _need_chance(chance, "chance", one=True)
    _need_chance(assurance, "assurance")
    if at_least < 1:
        raise refuse("wanted_below_one", f"{at_least} plants are wanted", "Ask for 1 or more.")
    low, high = at_least - 1, at_least
    while not _enough(high, chance, assurance, at_least):
        if high > PLANTS_MAX:
            raise refuse("plants_beyond_bound", f"more than {PLANTS_MAX} plants would be needed", "Ask for less.")
        low, high = high, high * 2
    while high - low > 1:
        middle = (low + high) // 2
        if _enough(middle, chance, assurance, at_least):
            high = middle
        else:
            low = middle
    return high


def find_plants_unrounded(chance: float, assurance: float) -> float:
    """The number of plants for at least one success before rounding up: ln(1-P) / ln(1-p).

    Parameters
    ----------
    chance, assurance
        As `plan_plants` [0 to 1]; both below 1.

    Returns
    -------
    float
        Plants [real number]. Plan with `plan_plants`, which rounds up.

    Raises
    ------
    InputRefused
        If one of the two is not between 0 and 1.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    _need_chance(chance, "chance")
    _need_chance(assurance, "assurance")
    return math.log1p(-assurance) / math.log1p(-chance)


def find_chance_carrier_kept(plants: int, generations: int) -> float:
    """The chance that a dominant allele is still there after backcrosses with so many plants in each.

    Parameters
    ----------
    plants
        Plants grown in each generation [count].
    generations
        Backcross generations [count].

    Returns
    -------
    float
        (1 - (1/2)^plants)^generations [0 to 1].

    Raises
    ------
    InputRefused
        If a count is below 1.

    Notes
    -----
    In each generation at least one of the plants must carry the allele; carriers are told apart without error.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    _need_count(plants, "plants")
    _need_count(generations, "generations")
    return float((1.0 - 0.5**plants) ** generations)


def find_recombination(distance_morgan: float) -> float:
    """The recombination fraction at a map distance, by Haldane's function (no interference).

    Parameters
    ----------
    distance_morgan
        Map distance [Morgan, 0 or more]; 10 cM are 0.10.

    Returns
    -------
    float
        r = (1 - exp(-2 d)) / 2 [0 to 0.5].

    Raises
    ------
    InputRefused
        If the distance is negative.

    References
    ----------
    Haldane 1919, Journal of Genetics 8:299.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    if not distance_morgan >= 0.0:
        raise refuse("distance_negative", f"{distance_morgan} is no map distance", "Give 0 Morgan or more.")
    return -math.expm1(-2.0 * distance_morgan) / 2.0


def plan_carriers(distance_morgan: float, assurance: float) -> int:
    """Carriers needed for at least one recombinant within a distance on one side of the gene.

    Parameters
    ----------
    distance_morgan
        Map distance from the gene [Morgan].
    assurance
        The wanted chance of success [0 to 1].

    Returns
    -------
    int
        ceil(ln(1-P) / ln(1-r)), r by `find_recombination`.

    Raises
    ------
    InputRefused
        If the distance is not above 0 or the assurance not between 0 and 1.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    return plan_plants(find_recombination(distance_morgan), assurance)


def find_donor_length_morgan(backcrosses: int, arm_morgan: float) -> float:
    """The expected intact donor length on one side of a gene that was kept through backcrosses.

    Parameters
    ----------
    backcrosses
        Meioses t since the donor chromosome was whole [count].
    arm_morgan
        Length of the chromosome arm on that side [Morgan].

    Returns
    -------
    float
        (1 - exp(-t L)) / t [Morgan].

    Raises
    ------
    InputRefused
        If `backcrosses` is below 1 or the arm negative.

    References
    ----------
    Hanson 1959, Genetics 44:833; Stam & Zeven 1981, Euphytica 30:227.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    _need_count(backcrosses, "backcrosses")
    if not arm_morgan >= 0.0:
        raise refuse("distance_negative", f"{arm_morgan} is no length of an arm", "Give 0 Morgan or more.")
    return -math.expm1(-backcrosses * arm_morgan) / backcrosses


def find_chance_allele_kept(frequency: float, plants: int) -> float:
    """The chance that a sample of plants from a random-mating population holds an allele at least once.

    Parameters
    ----------
    frequency
        Frequency of the allele [0 to 1].
    plants
        Plants sampled [count].

    Returns
    -------
    float
        1 - (1 - p)^(2n) [0 to 1].

    Raises
    ------
    InputRefused
        If the frequency is no chance or `plants` below 1.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    if not 0.0 <= frequency <= 1.0:
        raise refuse("chance_out_of_range", f"a frequency of {frequency} is no number from 0 to 1")
    _need_count(plants, "plants")
    return float(1.0 - (1.0 - frequency) ** (2 * plants))


def _enough(plants: int, chance: float, assurance: float, at_least: int) -> bool:
    return bool(binom.sf(at_least - 1, plants, chance) >= assurance - _ROUNDING)


def _need_chance(value: float, name: str, one: bool = False) -> None:
    if not (0.0 < value < 1.0 or (one and value == 1.0)):
        raise refuse("chance_out_of_range", f"{name} {value} is not between 0 and 1", f"Give {name} as a fraction.")


def _need_count(value: int, name: str) -> None:
    if value < 1:
        raise refuse("count_below_one", f"{value} {name} are not enough", "Give 1 or more.")
