"""How fast do the regular systems of mating fix a line, and how much of a parent comes back?

Selfing, full and half sibbing, and repeated backcrossing, generation by generation.
"""

from __future__ import annotations

from firstsilk.answers import refuse


def find_selfing_inbreeding(selfings: int, start: float = 0.0) -> float:
    """Inbreeding after a number of selfings.

    Parameters
    ----------
    selfings
        Generations of selfing [count, 0 or more].
    start
        Inbreeding of the plant first selfed [0 to 1].

    Returns
    -------
    float
        F_t = 1 - (1 - F_0) / 2^t [0 to 1]; also the share of the loci open at the start that are now fixed.

    Raises
    ------
    InputRefused
        If `selfings` is negative or `start` no number from 0 to 1.

    References
    ----------
    Falconer & Mackay 1996, Introduction to Quantitative Genetics, ch. 5.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    _need_generations(selfings)
    _need_inbreeding(start)
    return float(1.0 - (1.0 - start) * 0.5**selfings)


def find_full_sib_inbreeding(generations: int) -> list[float]:
    """Inbreeding in generations 1 to n of full-sib mating, from unrelated non-inbred plants.

    Parameters
    ----------
    generations
        Generations of brother-sister mating [count].

    Returns
    -------
    list
        F_1 ... F_n [0 to 1].

    Notes
    -----
    F_t = (1 + 2 F_{t-1} + F_{t-2}) / 4.

    References
    ----------
    Wright 1921, Systems of mating, Genetics 6:111; Falconer & Mackay 1996, Table 5.1.

    Checked by
    ----------
    tests/outside/test_lineage.py; repeated `sib` of `kinship.find_coancestry` must agree
    """
    return _recur(generations, 2.0, 1.0, 4.0)


def find_half_sib_inbreeding(generations: int) -> list[float]:
    """Inbreeding in generations 1 to n of half-sib mating (one male to many half-sib females), from non-inbred plants.

    Parameters
    ----------
    generations
        Generations of half-sib mating [count].

    Returns
    -------
    list
        F_1 ... F_n [0 to 1].

    Notes
    -----
    F_t = (1 + 6 F_{t-1} + F_{t-2}) / 8.

    References
    ----------
    Crow & Kimura 1970, An Introduction to Population Genetics Theory.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    return _recur(generations, 6.0, 1.0, 8.0)


def find_backcross_recovery(backcrosses: int) -> float:
    """The expected share of the recurrent parent's genome after n backcrosses, without selection.

    Parameters
    ----------
    backcrosses
        Backcrosses after the first cross [count]; 0 is the F1.

    Returns
    -------
    float
        1 - (1/2)^(n+1) [fraction].

    Notes
    -----
    Away from a gene that is selected for; near it the donor's piece stays longer (`chances.find_donor_length_morgan`).

    References
    ----------
    Falconer & Mackay 1996, ch. 5; n + 1 halvings of the donor's share.

    Checked by
    ----------
    tests/outside/test_lineage.py
    """
    _need_generations(backcrosses)
    return float(1.0 - 0.5 ** (backcrosses + 1))


def _recur(generations: int, last: float, before: float, whole: float) -> list[float]:
    _need_generations(generations)
    found = [0.0, 0.0]
    for _ in range(generations):
        found.append((1.0 + last * found[-1] + before * found[-2]) / whole)
    return found[2:]


def _need_generations(number: int) -> None:
    if number < 0:
        raise refuse("generations_negative", f"{number} is no number of generations", "Give 0 or more.")


def _need_inbreeding(value: float) -> None:
    if not 0.0 <= value <= 1.0:
        raise refuse("inbreeding_out_of_range", f"{value} is no inbreeding", "Give a number from 0 to 1.")
