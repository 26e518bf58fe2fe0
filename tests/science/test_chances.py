"""Are plant numbers the smallest that are enough, and are questions without meaning refused?"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstsilk.answers import InputRefused
from firstsilk.science.lineage import chances, inbreeding


def _slow_plants(chance: float, assurance: float, at_least: int) -> int:
    """Count up one plant at a time, adding the binomial terms."""
    plants = at_least
    while True:
        few = sum(math.comb(plants, k) * chance**k * (1 - chance) ** (plants - k) for k in range(at_least))
        if 1 - few >= assurance - 1e-12:
            return plants
        plants += 1


@given(st.sampled_from([0.9, 0.75, 0.5, 0.3, 0.25, 0.1]), st.sampled_from([0.1, 0.5, 0.9, 0.99]), st.integers(1, 6))
def test_plants_when_counted_up_one_by_one_then_the_same(chance, assurance, at_least):
    assert chances.plan_plants(chance, assurance, at_least) == _slow_plants(chance, assurance, at_least)


@pytest.mark.parametrize(
    ("chance", "assurance", "expected"),
    [(0.5, 0.5, 1), (0.5, 0.75, 2), (0.5, 0.875, 3), (0.75, 0.9375, 2), (0.9, 0.99, 2), (1.0, 0.999, 1)],
)
def test_plants_when_the_assurance_is_just_met_then_not_one_more(chance, assurance, expected):
    assert chances.plan_plants(chance, assurance) == expected


def test_plants_when_all_have_it_then_as_many_as_wanted():
    assert chances.plan_plants(1.0, 0.99, 12) == 12


@pytest.mark.parametrize(
    ("question", "says"),
    [
        (lambda: chances.plan_plants(0.0, 0.95), "chance 0.0 is not between"),
        (lambda: chances.plan_plants(1.1, 0.95), "chance 1.1 is not between"),
        (lambda: chances.plan_plants(math.nan, 0.95), "is not between"),
        (lambda: chances.plan_plants(0.5, 1.0), "assurance 1.0 is not between"),
        (lambda: chances.plan_plants(0.5, 0.95, 0), "0 plants are wanted"),
        (lambda: chances.plan_plants(1e-9, 0.95), "would be needed"),
        (lambda: chances.find_plants_unrounded(1.0, 0.95), "chance 1.0"),
        (lambda: chances.find_chance_carrier_kept(0, 3), "0 plants"),
        (lambda: chances.find_chance_carrier_kept(3, 0), "0 generations"),
        (lambda: chances.find_recombination(-0.1), "no map distance"),
        (lambda: chances.find_donor_length_morgan(0, 1.0), "0 backcrosses"),
        (lambda: chances.find_donor_length_morgan(1, -1.0), "no length of an arm"),
        (lambda: chances.find_chance_allele_kept(1.5, 3), "frequency of 1.5"),
        (lambda: chances.find_chance_allele_kept(0.5, 0), "0 plants"),
        (lambda: inbreeding.find_selfing_inbreeding(-1), "no number of generations"),
        (lambda: inbreeding.find_selfing_inbreeding(1, 1.5), "no inbreeding"),
        (lambda: inbreeding.find_full_sib_inbreeding(-1), "no number of generations"),
        (lambda: inbreeding.find_backcross_recovery(-1), "no number of generations"),
    ],
)
def test_question_when_without_meaning_then_refused(question, says):
    with pytest.raises(InputRefused, match=says):
        question()


def test_donor_length_when_the_arm_is_short_then_nearly_the_whole_arm_stays():
    assert chances.find_donor_length_morgan(3, 0.01) == pytest.approx(0.01, rel=0.02)
    assert chances.find_donor_length_morgan(3, 0.01) < 0.01


def test_selfing_when_the_plant_is_inbred_already_then_goes_on_from_there():
    assert inbreeding.find_selfing_inbreeding(2, 0.5) == 0.875
    assert inbreeding.find_selfing_inbreeding(0, 0.3) == pytest.approx(0.3)
