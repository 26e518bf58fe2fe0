"""Does combining ability from the books' testcrosses find the truth, correct for testers, and say what it left out?"""

from __future__ import annotations

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Trial
from firstsilk.work.analysis.combining import read_combining_ability
from tests.trial_cast import add_hybrids, add_lines, grow_trials, make_grown_cast, make_station

pytestmark = pytest.mark.django_db


def add_second_tester(cast, lines, worth: float = 900.0):
    """Each line crossed with another tester too, whose crosses all give so much more."""
    other = Line.objects.create(station=cast.station, name="X-T", group="X", is_tester=True)
    hybrids = []
    for line in lines:
        hybrid = Line.objects.create(
            station=cast.station, name=f"{line.name}/X-T", kind="hybrid", method="cross", mother=line, father=other
        )
        cast.truth[hybrid.name], cast.moisture_truth[hybrid.name] = cast.truth[line.name] + worth, 0.0
        hybrids.append(hybrid)
    return hybrids


def test_predictions_follow_the_truth_and_intervals_hold():
    cast = make_grown_cast(30)
    found = read_combining_ability(cast.on)
    assert len(found.lines) == 30
    assert [one.tester for one in found.testers] == ["N-T", "S-T"]
    for group in "NS":
        own = [one for one in found.lines if one.group == group]
        value, truth = np.array([one.value for one in own]), np.array([cast.truth[one.line] for one in own])
        assert np.corrcoef(value, truth)[0, 1] > 0.8
        held = [one.low <= t - truth.mean() <= one.high for one, t in zip(own, truth, strict=True)]
        assert np.mean(held) >= 0.8
    assert found.crosses == ()
    assert found.said[0].startswith("No line met two testers")
    assert [one.value for one in found.lines] == sorted((one.value for one in found.lines), reverse=True)


def test_a_better_tester_does_not_make_its_lines_look_better():
    """Half of the lines met a second tester as well whose crosses all give 900 more."""
    cast = make_station()
    lines = add_lines(cast, 16)
    hybrids = add_hybrids(cast, lines)
    lucky = lines[::4] + lines[1::4]
    grow_trials(cast, [*hybrids, *add_second_tester(cast, lucky)], 2031)
    found = read_combining_ability(cast.on)
    value = {one.line: one.value for one in found.lines}
    names = {line.name for line in lucky}
    gap = np.mean([v for n, v in value.items() if n in names]) - np.mean(
        [v for n, v in value.items() if n not in names]
    )
    truth = np.mean([cast.truth[n] for n in names]) - np.mean([cast.truth[n] for n in value if n not in names])
    assert gap == pytest.approx(truth, abs=300)
    means = {one.tester: one.mean for one in found.testers}
    assert means["X-T"] - (means["N-T"] + means["S-T"]) / 2 == pytest.approx(900, abs=300)
    assert len(found.crosses) == len(hybrids) + len(lucky)
    assert {one.n_plots for one in found.lines if one.line in names} == {16}


def test_what_is_no_testcross_is_left_out_and_counted():
    cast = make_grown_cast(6)
    found = read_combining_ability(cast.on)
    assert found.basis.used == (("plots", 6 * 8), ("lines", 6), ("testers", 2))
    assert "16 plots of checks and other entries are left out" in found.basis.missing
    assert {one.term for one in found.variances} >= {"general combining ability of lines", "plot"}


def test_no_testers_are_refused_with_what_to_do():
    cast = make_grown_cast(6)
    Line.objects.filter(station=cast.station).update(is_tester=False)
    with pytest.raises(InputRefused, match=r"3 lines with testers; there are 0.*Mark the testers"):
        read_combining_ability(cast.on)


def test_testers_that_no_trial_joins_are_said_and_not_compared():
    cast = make_station()
    lines = add_lines(cast, 12)
    hybrids = add_hybrids(cast, lines)
    of = {tester: [h for h in hybrids if h.name.startswith(tester)] for tester in ("N-T", "S-T")}
    grow_trials(cast, of["N-T"], 2030)
    grow_trials(cast, of["S-T"], 2031)
    assert Trial.objects.count() == 8
    found = read_combining_ability(cast.on)
    assert [one.mean for one in found.testers] == [None, None]
    assert any("fall into 2 groups that share nothing" in sentence for sentence in found.said)
    assert len(read_combining_ability(cast.on, (2031,)).lines) == 6


def test_moisture_is_told_in_its_own_unit():
    cast = make_grown_cast(12)
    found = read_combining_ability(cast.on, (), "moisture_pct")
    assert max(abs(one.value) for one in found.lines) < 6
    assert 15 < found.mean < 35
