"""Do records and pedigree tell lines apart as the trade would: more records weigh more, an F1 is early, selfs later?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from firstsilk.science.flowering.line_records import (
    CLOCK,
    CROWD,
    HETEROSIS,
    KNOWN_ONLY,
    LATE,
    MEAN,
    PAST,
    SEASON,
    LinesKnown,
    design_rows,
    find_mixed_frac,
    learn_lines,
    pair_cov,
    start_season,
)
from firstsilk.science.flowering.line_tree import solve_tree
from firstsilk.science.flowering.spreads import SPREADS

PACE = 22.0
MEAN_UNITS = np.array([1300.0, 1245.0])
NAN = float("nan")


def make(members, records=(), n_seasons=6, clock=()) -> LinesKnown:
    """Lines from (mother, father, method, selfings); records from (line, season, silk, shed, count)."""
    mother = np.array([one[0] for one in members], dtype=np.intp)
    method = [one[2] for one in members]
    selfings = np.array([one[3] for one in members], dtype=np.intp)
    return LinesKnown(
        mother,
        np.array([one[1] for one in members], dtype=np.intp),
        method,
        selfings,
        find_mixed_frac(mother, method, selfings),
        np.array([one[0] for one in records], dtype=np.intp),
        np.array([one[1] for one in records], dtype=np.intp),
        np.array([one[2:4] for one in records], dtype=np.float64).reshape(-1, 2),
        np.array([one[4] for one in records], dtype=np.float64),
        n_seasons,
        np.array(clock, dtype=np.float64),
    )


def told(known: LinesKnown):
    learnt = learn_lines(known, SPREADS, PACE, MEAN_UNITS)
    return solve_tree(learnt.tree, learnt.history), learnt


def need(known: LinesKnown) -> tuple[np.ndarray, np.ndarray]:
    """Mean and standard deviation of what each line needs to silk and shed, heterosis taken off (lines, 2)."""
    posterior, learnt = told(known)
    design = np.zeros((len(known.mother), 2, learnt.tree.n_shared))
    design[:, 0, HETEROSIS[0]] = design[:, 1, HETEROSIS[1]] = -known.mixed_frac
    turned = np.swapaxes(design, 1, 2)
    mixed = posterior.cross @ turned
    cov = posterior.cov + mixed + np.swapaxes(mixed, 1, 2) + design @ posterior.shared_cov @ turned
    mean = posterior.mean + design @ posterior.shared_mean
    return mean, np.sqrt(np.stack([cov[:, 0, 0], cov[:, 1, 1]], axis=1))


INBRED = (-1, -1, "founder_inbred", 0)
FAMILY = [INBRED, INBRED, (0, 1, "cross", 0), (2, -1, "self", 1), (3, -1, "self", 2), INBRED]
FOUNDERS = [(0, at, 1260.0, 1210.0, 3) for at in range(6)] + [(1, at, 1340.0, 1280.0, 3) for at in range(6)]


def test_selfing_halves_what_is_mixed_and_doubled_haploids_have_none():
    known = make([*FAMILY, (2, -1, "dh", 0), (2, -1, "sib", 0), (2, -1, "bulk", 0), (-1, -1, "open", 0)])
    assert known.mixed_frac.tolist() == [0.0, 0.0, 1.0, 0.5, 0.125, 0.0, 0.0, 1.0, 1.0, 1.0]
    related = find_mixed_frac(known.mother, known.method, np.array(FAMILY_SELFINGS), np.full(10, 0.75))
    assert related[[2, 3, 4]].tolist() == [0.75, 0.375, 0.09375]


FAMILY_SELFINGS = [0, 0, 0, 1, 2, 0, 0, 0, 0, 0]


def test_a_first_cross_is_earlier_than_its_parents_mean_and_its_selfs_later_than_it():
    mean, _ = need(make(FAMILY, FOUNDERS))
    middle = mean[:2].mean(axis=0)
    lead = SPREADS.heterosis_days * PACE
    assert mean[2] == pytest.approx(middle - lead, abs=0.5)
    assert mean[3] == pytest.approx(middle - lead / 2.0, abs=0.5)
    assert mean[4] == pytest.approx(middle - lead / 8.0, abs=0.5)
    assert (mean[2] < mean[3]).all()
    assert (mean[3] < mean[4]).all()


def test_heterosis_is_learnt_from_first_crosses_with_records():
    late = [(2, at, 1290.0, 1235.0, 4) for at in range(6)]
    posterior, _ = told(make(FAMILY, [*FOUNDERS, *late]))
    assert posterior.shared_mean[HETEROSIS[0]] < 0.6 * SPREADS.heterosis_days * PACE
    early = [(2, at, 1170.0, 1115.0, 4) for at in range(6)]
    posterior, _ = told(make(FAMILY, [*FOUNDERS, *early]))
    assert posterior.shared_mean[HETEROSIS[0]] > 1.1 * SPREADS.heterosis_days * PACE


def test_more_records_pull_a_line_further_and_make_it_surer():
    lines = [INBRED] * 8
    others = [(line, season, 1300.0, 1245.0, 2) for line in range(1, 8) for season in range(6)]
    found = [need(make(lines, [*others, *[(0, at, 1400.0, 1345.0, 1) for at in range(n)]])) for n in (0, 1, 2, 5)]
    means, sds = ([float(each[part][0, 0]) for each in found] for part in (0, 1))
    assert means == sorted(means)
    assert sds == sorted(sds, reverse=True)
    assert means[0] == pytest.approx(1300.0, abs=3.0)
    assert 1300.0 < means[1] < means[3] < 1400.0
    # Behind one record may stand one row or five.
    one, five = (need(make(lines, [*others, (0, 0, 1400.0, 1345.0, n)]))[0][0, 0] for n in (1, 5))
    assert one < five


def test_a_line_without_records_leans_on_its_family_and_a_stranger_on_the_programme():
    late_family = [(2, at, 1250.0, 1195.0, 4) for at in range(6)]
    sisters = [(4, at, 1390.0, 1335.0, 2) for at in range(6)]
    members = [*FAMILY, (3, -1, "self", 2)]
    mean, sd = need(make(members, [*FOUNDERS, *late_family, *sisters]))
    # Line 6 and line 4 are sisters, both from line 3; line 5 is of unknown kin.
    plain, _ = need(make(members, [*FOUNDERS, *late_family]))
    assert mean[6, 0] > plain[6, 0] + 10.0
    assert mean[6, 0] < mean[4, 0]
    assert sd[4, 0] < sd[6, 0] < sd[5, 0]


def test_a_line_nobody_ever_saw_has_the_programmes_mean_and_a_wide_spread():
    mean, sd = need(make([*FAMILY, (-1, -1, "open", 0)], FOUNDERS))
    assert abs(mean[5, 0] - 1300.0) < 15.0
    assert sd[5, 0] > 0.8 * SPREADS.line_days * PACE
    # Of a parent that is not known a cross takes the programme's mean.
    half = make([INBRED, (0, -1, "cross", 0), INBRED], [(0, at, 1200.0, 1145.0, 4) for at in range(6)])
    mean, sd = need(half)
    posterior, _ = told(half)
    middle = (mean[0, 0] + posterior.shared_mean[MEAN[0]]) / 2.0
    assert mean[1, 0] == pytest.approx(middle - posterior.shared_mean[HETEROSIS[0]], abs=1.0)
    assert sd[1, 0] > sd[0, 0]


def test_a_record_of_one_organ_tells_of_both_through_their_correlation():
    lines = [INBRED, INBRED, INBRED]
    others = [(2, at, 1300.0, 1245.0, 3) for at in range(6)]
    silk_only = need(make(lines, [*others, *[(0, at, 1390.0, NAN, 2) for at in range(6)]]))
    shed_only = need(make(lines, [*others, *[(0, at, NAN, 1335.0, 2) for at in range(6)]]))
    both = need(make(lines, [*others, *[(0, at, 1390.0, 1335.0, 2) for at in range(6)]]))
    for mean, sd in (silk_only, shed_only):
        assert mean[0, 0] > mean[1, 0] + 30.0
        assert mean[0, 1] > mean[1, 1] + 30.0
        assert (sd[0] < sd[1]).all()
        assert (both[1][0] < sd[0]).all()
    none = need(make(lines, [*others, (0, 0, NAN, NAN, 2)]))
    assert none[0][0] == pytest.approx(none[0][1])


def test_records_without_a_season_count_less_than_those_with_one():
    lines = [INBRED] * 6
    others = [(line, at, 1300.0, 1245.0, 3) for line in range(1, 6) for at in range(6)]
    figure = need(make(lines, [*others, (0, -1, 1400.0, 1345.0, 2)]))
    season = need(make(lines, [*others, (0, 3, 1400.0, 1345.0, 2)]))
    assert season[0][0, 0] > figure[0][0, 0]
    assert season[1][0, 0] < figure[1][0, 0]


def test_a_single_season_is_taken_and_shared_by_its_records():
    known = make([INBRED] * 4, [(line, 0, 1360.0, 1300.0, 2) for line in range(3)], n_seasons=1)
    posterior, learnt = told(known)
    # All lines late in one season: partly the season, partly the lines; nobody can say which.
    assert posterior.shared_mean[PAST] > 0.0
    assert posterior.mean[0, 0] > 1300.0
    assert np.isfinite(posterior.mean).all()
    assert 0.3 <= learnt.row_scale <= 6.0


def test_no_season_and_no_record_is_only_the_prior():
    posterior, learnt = told(make(FAMILY, n_seasons=0))
    assert posterior.mean[0] == pytest.approx(MEAN_UNITS)
    assert posterior.mean[2] == pytest.approx(MEAN_UNITS)
    assert learnt.season_scale == pytest.approx(1.0)


def simulate(season_sd: float, row_sd: float, seed: int = 3) -> LinesKnown:
    dice = np.random.default_rng(seed)
    lines, seasons = 40, 8
    true = MEAN_UNITS + dice.normal(0.0, 60.0, (lines, 1)) + dice.normal(0.0, 14.0, (lines, 2))
    shift = dice.normal(0.0, season_sd, (seasons, 1)) + dice.normal(0.0, season_sd / 2.0, (seasons, 2))
    own = dice.normal(0.0, row_sd, (lines, seasons, 1)) + dice.normal(0.0, row_sd / 2.0, (lines, seasons, 2))
    records = [
        (line, at, *(true[line] + shift[at] + own[line, at]), 1)
        for line in range(lines)
        for at in range(seasons)
        if dice.random() < 0.6
    ]
    return make([INBRED] * lines, records, n_seasons=seasons)


def test_how_far_seasons_and_rows_lie_apart_is_learnt_from_records():
    calm, wild = told(simulate(12.0, 12.0))[1], told(simulate(80.0, 12.0))[1]
    assert wild.season_scale > 4.0 * calm.season_scale
    assert wild.row_scale == pytest.approx(calm.row_scale, rel=0.15)
    loose = told(simulate(12.0, 36.0))[1]
    assert loose.row_scale > 3.0 * calm.row_scale


def test_seasons_are_found_again():
    dice = np.random.default_rng(8)
    shift = np.array([-60.0, -20.0, 0.0, 15.0, 65.0, 0.0])
    records = [
        (line, at, 1300.0 + 8 * line + shift[at] + dice.normal(0, 10), 1245.0 + 8 * line + shift[at], 2)
        for line in range(10)
        for at in range(6)
    ]
    posterior, _ = told(make([INBRED] * 10, records))
    found = posterior.shared_mean[PAST::2]
    # A level common to all seasons is the lines' own.
    assert found - found.mean() == pytest.approx(shift - shift.mean(), abs=8.0)


def test_the_other_clocks_hint_is_believed_where_past_seasons_followed_it():
    hints = np.array([-60.0, -30.0, 0.0, 20.0, 50.0, 20.0])
    follow = [(line, at, 1300.0 + hints[at], 1245.0 + hints[at], 2) for line in range(8) for at in range(6)]
    against = [(line, at, 1300.0, 1245.0, 2) for line in range(8) for at in range(6)]
    believed = told(make([INBRED] * 8, follow, clock=hints))[0].shared_mean[CLOCK]
    not_so = told(make([INBRED] * 8, against, clock=hints))[0].shared_mean[CLOCK]
    assert believed > 0.7
    assert abs(not_so) < 0.2


def test_dry_weather_holds_back_silk_and_not_shed():
    usual, dry = start_season(SPREADS, PACE), start_season(SPREADS, PACE, 1.0)
    assert dry[0][SEASON[0]] == pytest.approx(SPREADS.drought_days * PACE)
    assert dry[0][SEASON[1]] == 0.0
    assert dry[1][0, 0] > usual[1][0, 0]
    assert dry[1][1, 1] == usual[1][1, 1]
    # Wider interval: what moves silk and shed apart.
    assert pair_cov(2.0, 1.0).tolist() == [[5.0, 3.0], [3.0, 5.0]]


def test_rows_crowded_or_late_lean_on_their_own_unknowns():
    tree = told(make(FAMILY, FOUNDERS))[1].tree
    design = design_rows(tree, np.array([0.0, 7.0]), np.array([0.0, 1.5]), np.array([0.0, 30.0]), np.array([1.0, 0.0]))
    assert design[1, 0, CROWD] == 1.5
    assert design[1, 1, CROWD] == 0.0
    assert design[1, :, LATE].tolist() == [7.0, 7.0]
    assert design[1, :, CLOCK].tolist() == [30.0, 30.0]
    assert design[0, 0, HETEROSIS[0]] == design[0, 1, HETEROSIS[1]] == -1.0
    alone = replace(tree, shared_mean=np.zeros(KNOWN_ONLY), shared_cov=np.eye(KNOWN_ONLY))
    assert design_rows(alone, np.zeros(1), np.zeros(1), np.zeros(1), np.ones(1)).shape == (1, 2, KNOWN_ONLY)
