"""Do marker relationship and genomic prediction agree with the published example and with general programs?

Data: Mrode 2014, Linear Models for the Prediction of Animal Breeding Values, 3rd ed., Table 11.1: 14 bulls, 10 markers.
Variance estimates: the Dyestuff data of Davies & Goldsmith 1972 as fitted by lme4, with batches as the relationship.
"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.science.lineage.kinship import find_relationship
from firstsilk.science.lineage.marker_relationship import (
    MarkerRelationship,
    blend_relationships,
    find_marker_relationship,
)
from firstsilk.science.lineage.markers import MarkerTable, judge_markers
from firstsilk.science.lineage.members import Member
from firstsilk.science.lineage.prediction import find_marker_effects, fit_genomic_values, score_lines

BULLS = """13 9.0 2011000212
14 13.4 1000020210
15 12.7 1121100212
16 15.4 0021010221
17 5.9 0112000212
18 7.7 1101020221
19 10.2 0011020220
20 4.8 0110010220
21 7.6 2000012212
22 8.8 0001120200
23 9.8 0110010221
24 9.2 1000110200
25 11.5 0001120210
26 13.3 1011020100"""
NAMES, YIELDS, MARKERS = zip(*(line.split() for line in BULLS.splitlines()), strict=True)
RESPONSE = np.array([float(value) for value in YIELDS[:8]])
TESTED = np.arange(8)
VARIANCES = (35.241, 245.0)
VALUES = """.070259 .110821 .045114 .252869 -.494850 -.356740 .145292 -.224302 .027157 .114421 -.240104 .142639 .053731
.353693"""
EFFECTS = ".087021 -.310791 .262459 -.080277 .110208 .139080 0 0 -.060690 -.015802"


def numbers(text: str) -> np.ndarray:
    return np.array([float(word) for word in text.split()])


@pytest.fixture(scope="module")
def bulls() -> MarkerTable:
    doses = np.array([[int(sign) for sign in row] for row in MARKERS], dtype=np.int8)
    return MarkerTable(NAMES, tuple(f"s{at}" for at in range(1, 11)), doses)


@pytest.fixture(scope="module")
def by_markers(bulls: MarkerTable) -> MarkerRelationship:
    return find_marker_relationship(bulls)


def test_allele_frequencies_are_those_of_the_example(bulls: MarkerTable) -> None:
    wanted = ".321429 .178571 .357143 .357143 .142857 .607143 .071429 .964286 .571429 .392857"
    assert judge_markers(bulls).frequency == pytest.approx(numbers(wanted), abs=1e-6)


def test_divisor_and_first_rows_of_the_relationship(by_markers: MarkerRelationship) -> None:
    assert by_markers.divisor == pytest.approx(3.5382653, abs=1e-7)
    found = by_markers.matrix[[0, 1, 1, 2, 2, 2], [0, 0, 1, 0, 1, 2]]
    assert found == pytest.approx([1.472, -0.446, 0.745, 0.988, -0.930, 1.634], abs=6e-4)


def test_published_rows_of_the_relationship(by_markers: MarkerRelationship) -> None:
    # Book p. 187, printed with three decimals.
    row_21 = numbers(".887 .100 .120 -.526 -.183 .100 -.728 -.567 2.280")
    row_26 = numbers("-.264 .362 -.466 -.264 -.486 -.203 .100 -.304 -.284 .584 -.526 .382 .261 1.109")
    assert by_markers.matrix[8, :9] == pytest.approx(row_21, abs=6e-4)
    assert by_markers.matrix[13] == pytest.approx(row_26, abs=6e-4)


def test_inbred_lines_centred_by_the_data_and_by_one_half() -> None:
    # Worked by hand after VanRaden 2008, method 1; with one half a fully inbred line has 2 with itself.
    doses = np.array([[2, 0, 2, 0, 2], [0, 0, 2, 2, 2], [2, 2, 0, 0, 0], [1, 1, 1, 1, 1]], dtype=np.int8)
    lines = MarkerTable(("a", "b", "c", "d"), tuple("vwxyz"), doses)
    assert np.diag(find_marker_relationship(lines).matrix) == pytest.approx([1.2, 2.0533333, 2.48, 0.1333333], abs=1e-6)
    assert find_marker_relationship(lines, "half").matrix[2] == pytest.approx([-0.4, -2, 2, 0], abs=1e-9)


def test_marker_effects_and_values_of_the_example(bulls: MarkerTable, by_markers: MarkerRelationship) -> None:
    fit = fit_genomic_values(by_markers.matrix, TESTED, RESPONSE, variances=VARIANCES)
    assert fit.effects[0] == pytest.approx(9.943942, abs=1e-5)
    assert fit.values == pytest.approx(numbers(VALUES), abs=1e-5)
    effects = find_marker_effects(bulls, by_markers.frequency, by_markers.divisor, fit)
    assert effects == pytest.approx(numbers(EFFECTS), abs=1e-5)
    assert score_lines(bulls, by_markers.frequency, effects) == pytest.approx(fit.values, abs=1e-9)


def test_equations_of_the_markers_give_the_same_worth(bulls: MarkerTable, by_markers: MarkerRelationship) -> None:
    # The other route, written out: [1'1 1'Z; Z'1 Z'Z + I lambda] with lambda = s2e k / s2a (published 24.598479).
    ratio = VARIANCES[1] * by_markers.divisor / VARIANCES[0]
    assert ratio == pytest.approx(24.598479, abs=1e-5)
    z = bulls.doses - 2.0 * by_markers.frequency
    design = np.column_stack([np.ones(8), z[:8]])
    solved = np.linalg.solve(design.T @ design + ratio * np.diag([0.0, *[1.0] * 10]), design.T @ RESPONSE)
    fit = fit_genomic_values(by_markers.matrix, TESTED, RESPONSE, variances=VARIANCES)
    assert solved[0] == pytest.approx(fit.effects[0], abs=1e-6)
    assert z @ solved[1:] == pytest.approx(fit.values, abs=1e-6)
    found = find_marker_effects(bulls, by_markers.frequency, by_markers.divisor, fit)
    assert found == pytest.approx(solved[1:], abs=1e-6)


def test_a_tenth_of_the_variance_by_pedigree(bulls: MarkerTable, by_markers: MarkerRelationship) -> None:
    # Table 11.3, p. 190: mean 9.940; the book's pedigree is deeper than its printed part, hence three decimals.
    sires = dict(zip(range(15, 27), (13, 15, 15, 14, 14, 14, 1, 14, 14, 14, 14, 14), strict=True))
    dams = dict(zip(range(15, 27), (4, 2, 5, 6, 9, 9, 3, 8, 11, 10, 7, 12), strict=True))
    members = [Member(str(name), "founder") for name in range(1, 15)]
    members += [Member(str(name), "cross", str(dams[name]), str(sires[name])) for name in range(15, 27)]
    by_pedigree = find_relationship(members)[12:, 12:]
    blend = blend_relationships(by_markers.matrix, by_pedigree, 0.1, align=False)
    fit = fit_genomic_values(blend, TESTED, RESPONSE, variances=VARIANCES)
    effects = find_marker_effects(bulls, by_markers.frequency, by_markers.divisor, fit, share=0.9)
    assert fit.effects[0] == pytest.approx(9.940, abs=5e-3)
    assert effects == pytest.approx(numbers(".078 -.280 .234 -.075 .098 .128 0 0 -.054 -.018"), abs=5e-3)
    # Worked again with the printed pedigree.
    assert fit.effects[0] == pytest.approx(9.937, abs=6e-4)
    assert effects == pytest.approx(numbers(".0784 -.2802 .2340 -.0744 .0984 .1272 0 0 -.0541 -.0179"), abs=1e-4)


DYESTUFF = """1545 1440 1440 1520 1580 1540 1555 1490 1560 1495 1595 1550 1605 1510 1560
1445 1440 1595 1465 1545 1595 1630 1515 1635 1625 1520 1455 1450 1480 1445"""


def test_variances_and_likelihood_as_lme4_finds_them() -> None:
    # Batches as the relationship: 1 within one of the six batches, 0 between. lme4: 1764.05, 2451.25, -159.82714.
    batch = np.repeat(np.arange(6), 5)
    fit = fit_genomic_values((batch[:, None] == batch).astype(float), np.arange(30), numbers(DYESTUFF))
    assert fit.genetic_variance == pytest.approx(1764.05, rel=1e-6)
    assert fit.residual_variance == pytest.approx(2451.25, rel=1e-6)
    assert fit.log_likelihood == pytest.approx(-159.82714, abs=1e-5)
    assert fit.effects[0] == pytest.approx(1527.5, abs=1e-9)
