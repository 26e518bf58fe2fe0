"""Do proposed verdicts follow the figures, do their reasons name them truly, and does the next plan come of them?"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from firstsilk.answers import InputRefused
from firstsilk.records.models import Line, Plot, Target, Verdict
from firstsilk.work.analysis.analyse import analyse_trials
from firstsilk.work.analysis.reading import find_analysis
from firstsilk.work.choice.decide import decide, read_choices
from firstsilk.work.choice.facts import ChoiceSettings, Decision
from firstsilk.work.choice.next_season import plan_next_season, read_next_plan
from firstsilk.work.choice.propose import propose_verdicts
from firstsilk.work.occasion import stay_silent
from tests.kept_books import keep_books
from tests.trial_cast import add_people, make_grown_cast, make_station

pytestmark = pytest.mark.django_db

TRAITS = ("yield_kg_ha_15_5", "moisture_pct", "erect_frac")
SETTINGS = ChoiceSettings(go_on=4, wait=6)


def make_analysed_cast():
    made = make_grown_cast(16)
    for trait in TRAITS:
        analyse_trials(made.on, (2031,), trait, 1, stay_silent)
    return made


cast = keep_books(make_analysed_cast)


def propose(cast, **more):
    return propose_verdicts(cast.on, 2031, replace(SETTINGS, **more))


def test_the_best_by_merit_go_on_the_next_wait_and_the_rest_stop(cast):
    page = propose(cast, least_probability=0.0)
    verdicts = [one.verdict for one in page.candidates]
    assert verdicts == ["go_on"] * 4 + ["wait"] * 6 + ["stop"] * 6
    merits = [one.merit_kg_ha for one in page.candidates]
    assert merits == sorted(merits, reverse=True)
    assert page.cut_kg_ha == pytest.approx((merits[3] + merits[4]) / 2)


def test_merit_prices_moisture_against_yield(cast):
    for price in (0.0, 100.0, 400.0):
        for one in propose(cast, moisture_price_kg_ha=price).candidates:
            expected = one.difference_kg_ha - price * one.moisture_difference_pct
            assert one.merit_kg_ha == pytest.approx(expected)


def test_chosen_lines_are_truly_better_than_those_that_stop(cast):
    page = propose(cast, moisture_price_kg_ha=0.0, least_probability=0.0)
    mean = {
        verdict: np.mean([cast.truth[one.line] for one in page.candidates if one.verdict == verdict])
        for verdict in ("go_on", "stop")
    }
    assert mean["go_on"] > mean["stop"] + 200


def test_reasons_name_the_true_figures(cast):
    analysis = find_analysis(cast.on, "yield_kg_ha_15_5")
    gca = {one.line: one for one in analysis.of_kind("gca")}
    water = {one.line: one for one in find_analysis(cast.on, "moisture_pct").of_kind("gca")}
    for one in propose(cast).candidates:
        told = re.match(
            r"Yields (\d+) ± (\d+) kg/ha (above|below) the checks, better with probability (\d\.\d\d)", one.reason
        )
        assert told, one.reason
        own = gca[one.line]
        assert int(told[1]) == round(abs(own.versus_checks))
        assert int(told[2]) == round(own.versus_se)
        assert (told[3] == "above") == (own.versus_checks >= 0)
        assert float(told[4]) == pytest.approx(own.better_probability, abs=0.0051)
        wet = re.search(r"(\d+\.\d) points (wetter|drier)", one.reason)
        if wet:
            sign = 1 if wet[2] == "wetter" else -1
            assert sign * float(wet[1]) == pytest.approx(water[one.line].versus_checks, abs=0.051)
        assert f"{own.n_plots} plots, {own.n_sites} sites, 1 year" in one.reason
        assert len(one.reason) <= 400


def test_the_tie_zone_holds_those_within_their_error_of_the_cut(cast):
    page = propose(cast, least_probability=0.0)
    for one in page.candidates:
        assert one.in_tie == (abs(one.merit_kg_ha - page.cut_kg_ha) <= one.difference_se_kg_ha)
        assert ("within its error" in one.reason) == one.in_tie


def test_under_the_bar_for_standing_a_line_stops_whatever_it_yields(cast):
    page = propose(cast, least_erect_frac=0.999)
    assert {one.verdict for one in page.candidates} == {"stop"}
    assert all("Under the bar of 100 % erect" in one.reason for one in page.candidates)


def test_an_unlikely_winner_and_one_of_too_few_sites_wait(cast):
    assert propose(cast, least_probability=1.0).count("go_on") == 0
    page = propose(cast, least_sites=5)
    assert page.count("go_on") == 0
    assert "Fewer than 5 sites" in page.candidates[0].reason


def test_hybrids_can_be_chosen_instead_of_lines_and_checks_never(cast):
    page = propose(cast, of="hybrid")
    assert page.of == "hybrid"
    assert {one.line for one in page.candidates} == set(cast.line_of)


def test_without_a_check_the_differences_are_to_the_mean_of_all_entries_and_that_is_said():
    cast = make_grown_cast(6)
    Line.objects.filter(is_check=True).update(is_check=False)
    Plot.objects.update(is_check=False)
    analysis = analyse_trials(cast.on, (2031,), TRAITS[0], 1, stay_silent)
    page = propose(cast)
    assert "no check grew in these trials" in page.basis.as_text()
    for one in page.candidates:
        assert one.difference_kg_ha == pytest.approx(one.yield_kg_ha_15_5 - analysis.mean)
        assert "the mean of all entries" in one.reason


def test_without_moisture_and_standing_the_proposal_says_so():
    cast = make_grown_cast(6)
    analyse_trials(cast.on, (2031,), TRAITS[0], 1, stay_silent)
    page = propose(cast)
    assert "moisture is not analysed" in page.basis.as_text()
    assert "standing is not analysed" in page.basis.as_text()
    assert all(one.moisture_difference_pct is None for one in page.candidates)


def test_without_an_analysis_of_the_year_there_is_no_proposal(cast):
    with pytest.raises(InputRefused, match="not analysed"):
        propose_verdicts(cast.on, 2030, SETTINGS)


@pytest.mark.parametrize("more", [{"go_on": -1}, {"least_erect_frac": 1.5}, {"of": "row"}])
def test_settings_out_of_bounds_are_refused(cast, more):
    with pytest.raises(InputRefused):
        propose(cast, **more)


def accept(cast, **more):
    page = propose(cast, **more)
    return decide(cast.on, 2031, [Decision(one.line, one.verdict) for one in page.candidates], page.settings)


def test_accepting_writes_every_verdict_with_its_reason_evidence_and_who(cast):
    done = accept(cast)
    assert (done.n_written, len(done.verdicts)) == (16, 16)
    verdict = Verdict.objects.first()
    assert (verdict.decided_by, verdict.verdict == verdict.proposed) == ("command", True)
    assert verdict.reason.startswith("Yields ")
    assert verdict.evidence_id == propose(cast).analysis
    assert accept(cast).n_written == 0


def test_another_verdict_than_proposed_needs_a_typed_reason(cast):
    first = propose(cast).candidates[0]
    other = "stop" if first.verdict != "stop" else "wait"
    with pytest.raises(InputRefused) as no:
        decide(cast.on, 2031, [Decision(first.line, other, "  ")], SETTINGS)
    assert no.value.findings[0].code == "reason_missing"
    assert not Verdict.objects.exists()
    done = decide(cast.on, 2031, [Decision(first.line, other, "stalk rot in every row")], SETTINGS)
    assert done.verdicts[0].reason == "stalk rot in every row"
    assert (done.verdicts[0].verdict, done.verdicts[0].proposed) == (other, first.verdict)
    assert propose(cast).candidates[0].decided == other


def test_a_later_verdict_stands_and_the_earlier_one_is_kept(cast):
    line = propose(cast).candidates[0].line
    for verdict in ("wait", "stop"):
        decide(cast.on, 2031, [Decision(line, verdict, f"because {verdict}")], SETTINGS)
    assert [one.verdict for one in read_choices(cast.on, 2031).verdicts] == ["stop"]
    assert Verdict.objects.count() == 2


@pytest.mark.parametrize("decision", [Decision("nobody", "wait", "x"), Decision("CHECK-1", "go_on", "x")])
def test_a_verdict_on_what_is_no_candidate_is_refused(cast, decision):
    with pytest.raises(InputRefused) as no:
        decide(cast.on, 2031, [decision], SETTINGS)
    assert no.value.findings[0].code == "not_a_candidate"


def test_only_a_breeder_decides(cast):
    add_people(cast)
    line = propose(cast).candidates[0]
    for who in ("technician", "crew_leader", "cooperator", "nobody"):
        with pytest.raises(InputRefused, match="may not decide"):
            decide(replace(cast.on, who=who), 2031, [Decision(line.line, line.verdict)], SETTINGS)
    assert decide(replace(cast.on, who="breeder"), 2031, [Decision(line.line, line.verdict)], SETTINGS).n_written == 1


def test_the_next_plan_selfs_what_goes_on_and_crosses_best_with_best_inside_a_group(cast):
    accept(cast, least_probability=0.0)
    plan = plan_next_season(cast.on, 2031)
    going = {one.line for one in read_choices(cast.on, 2031).verdicts if one.verdict == "go_on"}
    assert plan.season == "2032"
    assert {one.female for one in plan.targets if one.kind == "self"} == going
    crosses = [one for one in plan.targets if one.kind == "cross"]
    assert crosses
    for one in crosses:
        assert {one.female, one.male} <= going
        assert one.female[0] == one.male[0]
        assert float(one.reason.rsplit("coancestry ", 1)[1]) <= 0.25
    assert all(one.ears_wanted and one.kernels_wanted and one.reason for one in plan.targets)


def test_asking_twice_for_the_next_plan_does_not_double_it(cast):
    accept(cast, least_probability=0.0)
    first = plan_next_season(cast.on, 2031)
    again = plan_next_season(cast.on, 2031)
    assert first.new_numbers
    assert again.new_numbers == ()
    assert again.targets == first.targets == read_next_plan(cast.on, 2031).targets
    assert Target.objects.count() == len(first.targets)


def test_full_sisters_are_not_crossed_with_each_other(cast):
    accept(cast, least_probability=0.0)
    mother = Line.objects.get(name="NF0")
    Line.objects.filter(method="self", group="N").update(mother=mother)
    plan = plan_next_season(cast.on, 2031)
    assert not [one for one in plan.targets if one.kind == "cross" and one.female.startswith("N")]


def test_the_furthest_families_with_seed_are_selfed_for_a_line_that_goes_on(cast):
    accept(cast, least_probability=0.0)
    going = next(one.line for one in read_choices(cast.on, 2031).verdicts if one.verdict == "go_on")
    parent = Line.objects.get(name=going)
    for at in (1, 2):
        child = Line.objects.create(
            station=cast.station,
            name=f"{going}-{at}",
            method="self",
            mother=parent,
            generation="S3",
            group=parent.group,
        )
        if at == 2:
            cast.add_lot(child, 90)
    selfed = {one.female for one in plan_next_season(cast.on, 2031).targets if one.kind == "self"}
    assert f"{going}-2" in selfed
    assert not {going, f"{going}-1"} & selfed


def test_a_fixed_line_is_not_selfed(cast):
    accept(cast, least_probability=0.0)
    Line.objects.filter(generation="S2").update(method="dh", generation="DH", selfings=0)
    assert not [one for one in plan_next_season(cast.on, 2031).targets if one.kind == "self"]


def test_untested_lines_are_testcrossed_with_the_tester_as_female(cast):
    accept(cast)
    mother = Line.objects.get(name="NF0")
    Line.objects.create(station=cast.station, name="N-new", method="self", mother=mother, generation="S2", group="N")
    crosses = [one for one in plan_next_season(cast.on, 2031).targets if one.kind == "testcross"]
    assert [(one.female, one.male) for one in crosses] == [("S-T", "N-new")]


def test_without_verdicts_the_next_plan_says_that_nothing_goes_on():
    cast = make_station()
    plan = plan_next_season(cast.on, 2031)
    assert plan.targets == ()
    assert "no line has the verdict go on" in plan.basis.as_text()


def test_young_families_made_this_year_go_on_selfing_and_older_ones_do_not(cast):
    accept(cast)
    for name, year in (("NF0", 2031), ("NF2", 2030)):
        cast.add_lot(Line.objects.get(name=name), 150, year)
    Line.objects.filter(method="self").update(mother=Line.objects.get(name="NF4"))
    young = [one for one in plan_next_season(cast.on, 2031).targets if "not S2 yet" in one.reason]
    assert [(one.kind, one.female) for one in young] == [("self", "NF0")]


def test_verdicts_of_a_later_day_are_not_seen_before(cast):
    accept(cast)
    before = replace(cast.on, today=date(2031, 11, 30))
    assert read_choices(before, 2031).verdicts == ()
