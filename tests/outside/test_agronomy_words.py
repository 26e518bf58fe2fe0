"""Do we say what the published rules say, where the check is in words or has several values?

Each test names the row of ``agronomy_cases.csv`` that it covers; sources stand there.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest

from firstsilk.science.climate import damage, frost, heat, humidity, seasons
from firstsilk.science.flowering import nicking, ripening, stages
from firstsilk.science.trials import drying, scores, stands, yields

_COVERED: set[tuple[str, str]] = set()
TEN_YEARS = (251, 258, 262, 263, 266, 268, 270, 271, 275, 284)


def covers(topic: str, *inputs: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Mark a test as the one that checks these rows."""

    def mark(test: Callable[..., Any]) -> Callable[..., Any]:
        for text in inputs:
            assert (topic, text) not in _COVERED, f"{topic} {text} is covered twice"
            _COVERED.add((topic, text))
        return test

    return mark


def covered_rows() -> frozenset[tuple[str, str]]:
    return frozenset(_COVERED)


# Heat


@covers("chu_ymax_peak", "argmax of 3.33x-0.084x^2 plus 10")
def test_the_day_part_of_chu_peaks_where_the_formula_says() -> None:
    assert heat.find_chu_peak_c() == pytest.approx(29.821, abs=0.002)
    fine = np.arange(10.0, 50.0, 0.001)
    assert fine[np.argmax(heat.count_chu(np.zeros_like(fine), fine))] == pytest.approx(29.821, abs=0.002)


@covers("chu_ymax_zero_again", "upper root of ymax (C)")
def test_the_day_part_of_chu_is_nothing_again_on_a_day_hotter_than_any() -> None:
    assert heat.find_chu_end_c() == pytest.approx(49.643, abs=0.002)
    assert heat.count_chu(0.0, 49.65) == 0.0
    assert heat.count_chu(0.0, 49.64) > 0.0


@covers("chu_days_left", "hybrid 3200; accumulated 2534; 25/day")
def test_days_left_of_a_3200_chu_hybrid_are_about_26() -> None:
    assert ripening.days_left(ripening.units_left(3200.0, 2534.0), 25.0) == pytest.approx(26.64, abs=0.005)


@covers("chu_start_old_rule", "means_c=13.0|12.9|11.0|13.1|14.0|12.8|13.5|13.2|12.9")
def test_the_old_ontario_start_is_the_third_warm_day_running() -> None:
    means = [13.0, 12.9, 11.0, 13.1, 14.0, 12.8, 13.5, 13.2, 12.9]
    assert seasons.find_old_ontario_start(means) == 9 - 1
    assert seasons.find_old_ontario_start(means[:-1]) is None
    assert seasons.find_old_ontario_start(means[:2]) is None


@covers("season_end_ontario", "longterm mean <12C on Sep 29; first -2C on Sep 24")
def test_the_ontario_season_ends_at_the_earlier_of_frost_and_long_term_date() -> None:
    days = [date(2031, 9, 1) + timedelta(days=step) for step in range(40)]
    minima = [-2.0 if day == date(2031, 9, 24) else 5.0 for day in days]
    assert seasons.find_ontario_end(days, minima, date(2031, 9, 29)) == date(2031, 9, 24)
    assert seasons.find_ontario_end(days, minima, date(2031, 9, 20)) == date(2031, 9, 20)
    assert seasons.find_ontario_end(days, [5.0] * 40, None) is None


@covers("gdd_c_to_f", "12.5 GDD C (30/15) times 1.8")
def test_celsius_degree_days_times_1_8_are_fahrenheit_degree_days() -> None:
    assert heat.heat_units(15.0, 30.0, "gdd_f") == pytest.approx(22.5, abs=1e-9)
    assert heat.heat_units(15.0, 30.0, "gdd_c") * heat.F_PER_C == pytest.approx(22.5, abs=1e-9)


@covers("f_to_c", "28 F")
def test_28_fahrenheit_is_minus_2_222_celsius() -> None:
    assert heat.convert_f_to_c(28.0) == pytest.approx(-2.222, abs=0.001)


@covers("chu_daily_mean", "269 CHU in 10 days")
def test_269_chu_in_ten_days_are_26_9_a_day() -> None:
    assert ripening.mean_units_per_day(269.0, 10.0) == pytest.approx(26.9, abs=0.01)


# Growth stages


@covers("vstage_from_gdd_f", "gdd_since_planting=785;emergence=120;per_leaf=82")
def test_785_gdd_since_planting_are_v8_by_purdue_and_v11_in_the_far_north() -> None:
    assert stages.count_leaf_stage(785.0 - 120.0, stages.LEAVES_PURDUE) == pytest.approx(8.11, abs=0.02)
    assert int(stages.count_leaf_stage(785.0 - 120.0, stages.LEAVES_FAR_NORTH)) == 11


@covers("vstage_from_gdd_f", "gdd_since_emergence=535;per_leaf=82")
def test_535_gdd_since_emergence_are_between_v6_and_v7() -> None:
    assert stages.count_leaf_stage(535.0, stages.LEAVES_PURDUE) == pytest.approx(6.52, abs=0.03)


@covers("vstage_gdd_after_V10", "emergence=120;V=14;82 to V10 then 50")
def test_v14_needs_1140_gdd_from_planting() -> None:
    assert stages.gdd_f_to_leaf(14.0, 120.0, stages.LEAVES_PURDUE) == pytest.approx(1140.0, abs=0.5)
    assert stages.count_leaf_stage(1140.0 - 120.0, stages.LEAVES_PURDUE) == pytest.approx(14.0)


@covers("gdd_planting_to_black_layer", "rm=85;interpolated 20 per RM day")
def test_relative_maturity_85_needs_about_2100_gdd() -> None:
    assert stages.gdd_f_to_black_layer(85.0) == pytest.approx(2100.0, abs=50.0)


@covers("emergence_offset", "rating from emergence -> from planting: add GDD")
def test_a_rating_from_planting_is_about_115_gdd_more_than_from_emergence() -> None:
    assert stages.rating_from_planting_gdd_f(2000.0) - 2000.0 == pytest.approx(115.0, abs=40.0)


@covers("rm_from_moisture", "check_rm=110;moisture_diff_points=+2;0.5 pt per day")
def test_two_points_wetter_than_a_110_check_is_114() -> None:
    assert stages.relative_maturity_from_moisture(110.0, 2.0, 0.5) == pytest.approx(114.0, abs=0.1)


@covers("kernel_moisture_stage", "R5.5 (half milk line)")
def test_at_half_milk_line_kernels_have_40_percent_water_and_90_percent_of_their_weight() -> None:
    stage = ripening.find_kernel_stage("R5.5")
    assert stage.moisture_pct == pytest.approx(40.0, abs=2.0)
    assert stage.dry_weight_pct == pytest.approx(90.0, abs=2.0)


@covers("kernel_moisture_stage", "R6 (black layer)")
def test_at_black_layer_kernels_usually_have_30_to_35_percent_water() -> None:
    assert ripening.BLACK_LAYER_MOISTURE_PCT == (30.0, 35.0)
    assert 30.0 <= ripening.find_kernel_stage("R6").moisture_pct <= 35.0
    with pytest.raises(KeyError, match="R7"):
        ripening.find_kernel_stage("R7")


@covers("drydown_by_calendar", "32% on Sep 20; 0.75/day x5")
def test_five_days_at_three_quarters_of_a_point_dry_32_to_28_25() -> None:
    assert ripening.dry_by_calendar_pct(32.0, 0.75, 5.0) == pytest.approx(28.25, abs=0.01)


@covers("drydown_rate_temp", "tavg_f=85; 0.0202T-0.7133")
def test_at_85_fahrenheit_maize_dries_a_point_a_day_and_near_freezing_not_at_all() -> None:
    assert ripening.dry_rate_points_per_day(85.0) == pytest.approx(1.0037, abs=0.0005)
    assert ripening.dry_rate_points_per_day(35.0) == 0.0


@covers("drydown_gdd", "30 to 25 % at 30 GDD/pt then 25 to 20 at 45")
def test_drying_from_30_to_20_percent_takes_375_gdd() -> None:
    assert ripening.units_to_dry(30.0, 20.0) == pytest.approx(375.0, abs=0.5)


@covers("chu_per_point_drydown", "30 to 25 % at 50 CHU/pt then 25 to 20 at 75")
def test_drying_from_30_to_20_percent_takes_625_chu() -> None:
    assert ripening.units_to_dry(30.0, 20.0, ripening.DRY_CHU) == pytest.approx(625.0, abs=0.5)


# Frost


@covers("killing_frost", "tmin_c=-2.3")
def test_a_night_below_28_fahrenheit_kills() -> None:
    assert damage.classify_frost(-2.3) == "killing"
    assert damage.classify_frost(-2.2) == "light"


@covers("killing_frost", "hours below 32F = 4.5; min 30F")
def test_four_and_a_half_hours_below_freezing_do_substantial_damage() -> None:
    assert damage.classify_frost(float(heat.convert_f_to_c(30.0)), 4.5) == "substantial"
    assert damage.classify_frost(float(heat.convert_f_to_c(30.0)), 1.0) == "light"
    assert damage.classify_frost(0.5, 0.0) == "none"


FOSSTON = "Fosston MN 28F fall;mean DOY 271;sd 11.31;p={}"
ROSEAU = "Roseau MN 28F fall;mean DOY 267;sd=12.48;p={}"


@covers("frost_date_normal", *(FOSSTON.format(p) for p in (0.2, 0.3, 0.8, 0.9)))
@pytest.mark.parametrize(("probability", "printed"), [(0.2, "09-18"), (0.3, "09-22"), (0.8, "10-07"), (0.9, "10-12")])
def test_a_normal_law_gives_fosstons_printed_frost_dates_within_a_day(probability: float, printed: str) -> None:
    ours = frost.normal_frost_day(271.0, 11.31, probability)
    month, day = map(int, printed.split("-"))
    assert abs(ours - frost.day_of_common_year(date(2001, month, day))) <= 1.0


@covers("frost_date_normal", *(ROSEAU.format(p) for p in (0.2, 0.8)))
@pytest.mark.parametrize(("probability", "printed"), [(0.2, 257), (0.8, 278)])
def test_a_normal_law_gives_roseaus_printed_frost_dates_within_a_day(probability: float, printed: int) -> None:
    assert abs(frost.normal_frost_day(267.0, 12.48, probability) - printed) <= 1.0


@covers("frost_prob_before", "mean=269;sd=9;date<258")
def test_the_chance_of_frost_before_day_258_is_11_percent() -> None:
    assert frost.frost_chance_before(269.0, 9.0, 258.0) == pytest.approx(0.1108, abs=0.0003)


@covers("frost_sample_mean_sd", "DOYs=251|258|262|263|266|268|270|271|275|284")
def test_the_normal_method_uses_the_mean_and_the_n_minus_1_deviation_of_the_years() -> None:
    years = tuple(range(2001, 2011))
    frosts = frost.FrostYears("first_autumn", years, years, TEN_YEARS, ())
    middle = frost.estimate_frost_day(frosts, 0.5, "normal")
    # One standard deviation above the mean is the 84.13 % point of a normal law.
    upper = frost.estimate_frost_day(frosts, 0.8413447460685429, "normal")
    assert middle == pytest.approx(266.8, abs=0.001)
    assert upper is not None
    assert upper - 266.8 == pytest.approx(9.1748, abs=0.001)


# Flowering


@covers("nick_delay_gdu", "female_silk=1370;male_shed=1300;lead=0")
def test_a_male_70_units_earlier_is_sown_seven_days_later_at_ten_a_day() -> None:
    delay = nicking.male_delay_units(1370.0, 1300.0, 0.0)
    assert delay == 70.0
    assert nicking.find_delayed_day([10.0] * 20, delay) == 7


@covers("nick_delay_by_gdu", "delay=70;daily=9|12.5|8|15|11.5|14|10.5")
def test_the_second_parent_is_sown_on_the_day_the_running_sum_reaches_the_delay() -> None:
    daily = [9.0, 12.5, 8.0, 15.0, 11.5, 14.0, 10.5]
    assert nicking.find_delayed_day(daily, 70.0) == 6
    assert nicking.find_delayed_day(daily, 70.1) == 7
    assert nicking.find_delayed_day(daily, 81.0) is None
    assert nicking.find_delayed_day(daily, 0.0) == 0


@covers("nick_planting_days", "shift 5 flowering days at 22 GDU/d; planting at 9 GDU/d")
def test_five_flowering_days_are_twelve_sowing_days() -> None:
    assert nicking.sowing_shift_days(5.0, 22.0, 9.0) == pytest.approx(12.22, abs=0.01)


@covers("clip_delay_days", "clip at 6 leaves")
def test_clipping_at_six_leaves_delays_flowering_by_a_week_and_costs_stand_and_yield() -> None:
    clip = nicking.find_clip_delay(6)
    assert (clip.shed_days, clip.silk_days, clip.stand_loss_pct, clip.yield_loss_pct) == (7.6, 7.7, 44.0, 38.0)


@covers("clip_delay_days", "clip at 8 leaves")
def test_clipping_at_eight_leaves_costs_nearly_half_the_yield() -> None:
    clip = nicking.find_clip_delay(8)
    assert (clip.shed_days, clip.silk_days, clip.stand_loss_pct, clip.yield_loss_pct) == (6.7, 7.1, 25.0, 46.0)
    with pytest.raises(KeyError, match="not at 7"):
        nicking.find_clip_delay(7)


@covers("pollen_per_silk", "3e6 grains; 600 silks")
def test_three_million_grains_are_5000_a_silk() -> None:
    assert nicking.pollen_per_silk(3e6, 600) == 5000


@covers("silk_receptive", "pollinated >= 7 d after emergence")
def test_silks_of_seven_days_no_longer_set_the_middle_and_base_of_the_ear() -> None:
    assert not nicking.silks_still_set(7.0)
    assert nicking.silks_still_set(6.0)


# Yield, drying, test weight


@covers("yield_constant", "522720/(84.5*56)")
def test_the_yield_constant_is_110_465_and_gives_the_yield_of_the_long_way() -> None:
    assert yields.yield_constant() == pytest.approx(110.465, abs=0.001)
    by_constant = (100.0 - 24.3) * 18.6 * yields.yield_constant() / 17.5 / 30.0 / 2.0
    assert by_constant == pytest.approx(float(yields.yield_bu_ac(18.6, 87.5, 24.3)))


@covers("dry_matter_per_bushel", "56 lb at 15.5%")
def test_a_bushel_holds_47_32_pounds_of_dry_matter() -> None:
    assert yields.dry_matter_lb_per_bushel() == pytest.approx(47.32, abs=0.005)


@covers("bu_ac_to_kg_ha", "1 bu/ac (56 lb)")
def test_a_bushel_an_acre_is_62_7677_kg_ha() -> None:
    assert yields.convert_bu_ac_to_kg_ha(1.0) == pytest.approx(62.7677, abs=0.0005)


@covers("t_ha_to_bu_ac", "1 t/ha")
def test_a_tonne_a_hectare_is_15_9318_bushels_an_acre() -> None:
    assert yields.convert_kg_ha_to_bu_ac(1000.0) == pytest.approx(15.9318, abs=0.0005)


@covers("bu_per_tonne", "1 t corn")
def test_a_tonne_is_39_3683_bushels() -> None:
    assert pytest.approx(39.3683, abs=0.0005) == yields.BUSHELS_PER_TONNE


@covers("moisture_basis", "15.5% to 14%", "14% to 15.5%")
@pytest.mark.parametrize(("from_pct", "to_pct", "factor"), [(15.5, 14.0, 0.982558), (14.0, 15.5, 1.017751)])
def test_a_yield_is_restated_at_another_moisture(from_pct: float, to_pct: float, factor: float) -> None:
    assert yields.change_moisture_basis(1.0, from_pct, to_pct) == pytest.approx(factor, abs=1e-6)


@covers("shrink_pct", "25 to 15.5")
def test_drying_from_25_to_15_5_shrinks_11_24_percent() -> None:
    assert drying.shrink_pct(25.0, 15.5) == pytest.approx(11.24, abs=0.01)


@covers("shrink", "1000 lb 25.5% to 15.5%")
def test_a_thousand_pounds_shrink_to_882_and_15_74_bushels() -> None:
    assert drying.shrink_pct(25.5, 15.5) == pytest.approx(11.83, abs=0.005)
    left = drying.shrink_weight(1000.0, 25.5, 15.5)
    assert left == pytest.approx(881.66, abs=0.005)
    assert drying.market_bushels(left) == pytest.approx(15.74, abs=0.06)


@covers("shrink_with_handling", "1000 lb 25.5 to 15.5 plus 0.5% handling")
def test_half_a_percent_of_handling_is_lost_besides() -> None:
    assert drying.shrink_pct(25.5, 15.5, 0.5) == pytest.approx(12.33, abs=0.005)
    left = drying.shrink_weight(1000.0, 25.5, 15.5, 0.5)
    assert left == pytest.approx(876.7, abs=0.06)
    assert drying.market_bushels(left) == pytest.approx(15.655, abs=0.001)


@covers("shrink_cgc", "(before-after)*100/(100-after): 25.5 to 15.5")
def test_canadas_form_of_shrink_gives_11_834() -> None:
    assert drying.shrink_by_difference_pct(25.5, 15.5) == pytest.approx(11.834, abs=0.001)


@covers("shrink_forms_agree", "1-(74.5/84.5) vs 10/84.5")
def test_the_two_forms_of_shrink_agree() -> None:
    for before in np.arange(15.5, 40.0, 0.5):
        assert drying.shrink_pct(before, 15.5) == pytest.approx(
            drying.shrink_by_difference_pct(before, 15.5), abs=1e-12
        )


@covers("wet_to_dry_bushels", "1000 wet bu 26% to 15% at 1.176 %/pt")
def test_a_thousand_wet_bushels_at_26_percent_hold_129_bushels_of_water() -> None:
    water = drying.water_bushels(1000.0, 26.0, 15.0, 1.176)
    assert water == pytest.approx(129.4, abs=0.3)
    assert 1000.0 - water == pytest.approx(870.6, abs=0.3)


@covers("market_bushels", "52000 lb / 56", "60000 lb / 56")
@pytest.mark.parametrize(("pounds", "bushels"), [(52_000.0, 929.0), (60_000.0, 1071.0)])
def test_market_bushels_are_weight_over_56(pounds: float, bushels: float) -> None:
    assert drying.market_bushels(pounds) == pytest.approx(bushels, abs=0.5)


@covers("drying_cost", "0.022 gal/pt/bu; $1.90/gal; 10 pts")
def test_ten_points_cost_42_cents_a_bushel() -> None:
    assert drying.drying_cost(1.90, 10.0, gal_per_bu_point=0.022) * 100.0 == pytest.approx(41.8, abs=0.05)


@covers("drying_cost", "0.02 gal/pt/bu; $1.60/gal; 1 pt")
def test_one_point_costs_3_2_cents_a_bushel() -> None:
    assert drying.drying_cost(1.60, 1.0) == pytest.approx(0.032, abs=0.0005)


@covers("drying_cost_ac", "0.022*$1*120 bu*10 pts")
def test_an_acre_of_120_bushels_costs_26_40() -> None:
    assert drying.drying_cost(1.0, 10.0, 120.0, 0.022) == pytest.approx(26.4, abs=0.05)


@covers("propane_use", "25.5 to 15.5 %: 20 gal per 100 bu -> gal/bu/pt")
def test_twenty_gallons_for_a_hundred_bushels_are_0_02_a_point() -> None:
    assert drying.propane_gal_per_bu_point(20.0, 100.0, 25.5 - 15.5) == pytest.approx(0.02, abs=0.0005)
    assert pytest.approx(0.02) == drying.PROPANE_GAL_PER_BU_POINT


@covers("test_weight", "1 lb/bu US (Winchester) to kg/hL", "56 lb/bu US to kg/hL")
def test_a_pound_a_bushel_is_1_287_kg_hl() -> None:
    assert drying.weigh_kg_hl(1.0) == pytest.approx(1.287, abs=0.0005)
    assert drying.weigh_kg_hl(56.0) == pytest.approx(72.08, abs=0.02)


@covers("test_weight_cgc_corn", "345 g per 0.5 L to kg/hL", "345 g per 0.5 L to lb/Avery bu")
def test_345_grams_of_half_a_litre_are_68_343_kg_hl() -> None:
    assert drying.weigh_cgc_kg_hl(345.0) == pytest.approx(68.343, abs=0.005)
    assert drying.weigh_cgc_lb_avery(345.0) == pytest.approx(54.806, abs=0.005)


@covers("test_weight_dried", "54 lb/bu at 25% dried to 15.5%", "55 lb/bu at 20% dried to 15%")
@pytest.mark.parametrize(("wet", "before", "after", "dry"), [(54, 25.0, 15.5, 60.84), (55, 20.0, 15.0, 58.44)])
def test_test_weight_rises_as_grain_dries(wet: float, before: float, after: float, dry: float) -> None:
    assert drying.weigh_when_dried(wet, before, after) == pytest.approx(dry, abs=0.01)


# Stands, lodging, losses


@covers("row_length_1_1000_acre", "row_in=20", "row_in=30", "row_in=38", "row_in=22")
@pytest.mark.parametrize(("row_in", "feet", "inches"), [(20, 26, 2), (30, 17, 5), (38, 13, 9), (22, 23, 9)])
def test_a_thousandth_of_an_acre_has_its_printed_row_length(row_in: float, feet: int, inches: int) -> None:
    assert stands.row_length_ft(row_in) * 12.0 == pytest.approx(feet * 12 + inches, abs=0.5)
    assert stands.feet_and_inches(stands.row_length_ft(row_in))[0] == feet


@covers("population", "29 plants in 17 ft 5 in (30 in rows)")
def test_29_plants_on_17_feet_5_are_29000_an_acre() -> None:
    assert stands.plants_per_acre(29, 17 + 5 / 12, 30) == pytest.approx(29_000, abs=50)


@covers("population", "1.7 plants/ft in 30 in rows")
def test_1_7_plants_a_foot_are_29621_an_acre() -> None:
    assert stands.plants_per_acre(1.7, 1.0, 30) == pytest.approx(29_621, abs=1)


@covers("lodging", "n=60;root=3;stalk=6")
def test_lodging_is_counted_on_the_final_stand() -> None:
    assert stands.measure_lodging(60, 3, 6) == stands.Lodging(5.0, 10.0, 85.0)
    with pytest.raises(ValueError, match="do not fit a stand of 8"):
        stands.measure_lodging(8, 3, 6)


@covers("yield_estimate_components", "22 ears;15.75 rows;34 kernels; x0.013", "24;16;30;/90")
def test_yield_is_guessed_from_ears_rows_and_kernels() -> None:
    by_factor = stands.estimate_yield_bu_ac(22.0, 15.75, 34.0, 1.0 / stands.YIELD_FACTOR_MSU)
    assert by_factor == pytest.approx(153.15, abs=0.05)
    assert stands.estimate_yield_bu_ac(24.0, 16.0, 30.0) == pytest.approx(128.0, abs=0.05)


@covers("harvest_loss", "2 kernels per ft2 (bu/ac)", "20 kernels in a 2.5 x 4 ft frame (bu/ac)")
def test_two_kernels_a_square_foot_are_a_bushel_an_acre() -> None:
    assert stands.harvest_loss_bu_ac(2.0) == pytest.approx(1.0, abs=0.1)
    assert stands.harvest_loss_bu_ac(20.0, 2.5 * 4.0) == pytest.approx(1.0, abs=0.1)


# Scores, humidity


@covers("audpc_relative", "sev=1|2|7|7.5;t=0|2|5|6 ; AUDPC/(100*6)")
def test_the_relative_area_under_the_curve_is_0_0396() -> None:
    severity, days = [1.0, 2.0, 7.0, 7.5], [0.0, 2.0, 5.0, 6.0]
    assert scores.area_under_progress_relative(severity, days) == pytest.approx(0.0396, abs=0.0001)
    with pytest.raises(ValueError, match="rising"):
        scores.area_under_progress(severity, days[::-1])


@covers("lsd_compare", "LSD=10;110 vs 99")
def test_110_and_99_differ_by_an_lsd_of_10() -> None:
    assert scores.differ_by_lsd(110.0, 99.0, 10.0)
    assert scores.differ_by_lsd(110.0, 100.0, 10.0)


@covers("lsd_compare", "LSD=10;110 vs 101")
def test_110_and_101_are_not_shown_to_differ_by_an_lsd_of_10() -> None:
    assert not scores.differ_by_lsd(110.0, 101.0, 10.0)


@covers("es_kpa", "tmax=24.5;tmin=15")
def test_a_days_saturation_pressure_is_the_mean_of_its_two_ends() -> None:
    assert humidity.saturation_pressure_kpa([24.5, 15.0]) == pytest.approx([3.075, 1.705], abs=0.001)
    assert humidity.daily_saturation_pressure_kpa(15.0, 24.5) == pytest.approx(2.39, abs=0.005)
