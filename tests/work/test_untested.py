"""Are untested lines foretold from the books' markers and estimates, without those whose markers refute the books?"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Estimate, Line, Result, Station
from firstsilk.work.jobs import ask_job, run_job
from firstsilk.work.lineage.bring_markers import bring_markers, set_sample_aside
from firstsilk.work.lineage.untested import find_untested, predict_untested
from tests.work.marker_station import bring_lines, give, invented_book, invented_samples

pytestmark = pytest.mark.django_db

MEAN = 8000.0
TRAIT = "yield_kg_ha_15_5"
NOW = datetime(2031, 10, 1, 9, 0, tzinfo=UTC)


def list_tested():
    """Every inbred but the young ones."""
    return [line.name for line in invented_book().inbreds() if line.name[2] in "12"]


def analyse(on, reliabilities=(0.9,), names=None, kind="gca"):
    """An analysis as it is stored, whose estimates are the true values drawn towards the mean."""
    station, truth = Station.objects.get(), invented_book().truth
    answer = {
        "mean": MEAN, "said": [], "heritability": 0.8, "checks": [], "check_lines": [], "variances": [],
        "versus_checks": {}, "n_years": {}, "trials": 1, "quality": [],
    }  # fmt: skip
    result = Result.objects.create(
        station=station, kind="trial_analysis", about=f"{TRAIT} 2031", made_on=on.today, made_at=NOW, version="0",
        inputs_hash="0", settings={"trait": TRAIT, "years": [2031], "model": ""}, answer=answer,
    )  # fmt: skip
    for at, name in enumerate(names or list_tested()):
        sure = reliabilities[at % len(reliabilities)]
        value = MEAN + (0.0 if sure is None else sure) * truth.lines[name].gca_yield_kg_ha
        line = Line.objects.get(name=name)
        Estimate.objects.create(
            station=station, result=result, line=line, trait=TRAIT, kind=kind, value=value, reliability=sure
        )
    return result


@pytest.fixture
def learnt(db):
    """The invented lines with markers, and an analysis of the older ones."""
    on = bring_lines()
    bring_markers(on, "chip", give(invented_samples()))
    analyse(on, (0.9, 0.5, 0.7))
    return on


def test_untested_lines_are_foretold_and_tested_ones_near_their_true_worth(learnt):
    found = predict_untested(learnt)
    assert {one.line[2] for one in found.untested} == {"3"}
    tested = [one for one in found.lines if one.tested]
    true = np.array([invented_book().truth.lines[one.line].gca_yield_kg_ha for one in tested])
    foretold = np.array([one.foretold for one in tested]) - MEAN
    # What was drawn towards the mean by unlike amounts is taken back: the deviations themselves are met.
    assert np.corrcoef(true, foretold)[0, 1] > 0.85
    assert all(0.0 <= one.reliability <= 1.0 for one in found.lines)
    assert [one.foretold for one in found.lines] == sorted((one.foretold for one in found.lines), reverse=True)
    assert any("by pedigree" in sentence for sentence in found.said)


def test_lines_whose_markers_refute_the_books_are_left_out(learnt):
    found = predict_untested(learnt)
    assert not {"EK207", "EK211", "HM304"} & {one.line for one in found.lines}
    (told,) = [one for one in found.basis.missing if one.startswith("left out")]
    assert "HM304" in told


def test_of_two_samples_the_one_that_is_not_refuted_counts(learnt):
    with_both = predict_untested(learnt)
    set_sample_aside(learnt, "chip", "HM205 again", "leaf of HM209")
    without = predict_untested(learnt)
    one, other = ({line.line: line.foretold for line in found.lines} for found in (with_both, without))
    assert one["HM205"] == other["HM205"]


def test_what_is_written_down_is_what_was_told_and_comes_out_the_same_again(learnt):
    found = predict_untested(learnt)
    assert find_untested(learnt) == found
    assert predict_untested(learnt) == found
    first, second = Result.objects.filter(kind="untested_lines")
    assert (first.inputs_hash, first.answer) == (second.inputs_hash, second.answer)
    assert "NaN" not in json.dumps(first.answer)
    assert find_untested(replace(learnt, today=date(2031, 9, 30))) is None


def test_an_estimate_of_no_reliability_teaches_nothing(learnt):
    Estimate.objects.filter(line__name="EK201").update(reliability=0.01)
    found = predict_untested(learnt)
    assert "1 estimates are too unreliable to learn from" in found.basis.missing
    (own,) = [one for one in found.lines if one.line == "EK201"]
    assert own.tested


def test_without_markers_analysis_or_a_known_trait_it_is_refused(db):
    on = bring_lines()
    for code in ("no_markers_yet", "no_analysis"):
        with pytest.raises(InputRefused) as no:
            predict_untested(on)
        assert no.value.refusal.code == code
        bring_markers(on, "chip", give(invented_samples()))
    with pytest.raises(InputRefused) as no:
        predict_untested(on, "height")
    assert no.value.refusal.code == "trait_unknown"
    analyse(on, names=["EK201", "EK202"], kind="blup")
    with pytest.raises(InputRefused) as no:
        predict_untested(on)
    assert no.value.refusal.code == "too_few_tested"


def test_a_job_foretells_and_one_that_is_stopped_writes_nothing(learnt):
    number = ask_job(learnt, "predict_untested", {"trait": TRAIT})
    done = run_job(number, lambda: NOW)
    assert done.state == "done", done.error
    assert "untested lines are foretold" in done.result["told"][0]

    def stop(share, message):
        if share > 0.7:
            raise KeyboardInterrupt

    before = Result.objects.count()
    with pytest.raises(KeyboardInterrupt):
        predict_untested(learnt, progress=stop)
    assert Result.objects.count() == before
