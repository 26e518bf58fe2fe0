"""Do grain moisture, frost loss and the interval of a chance agree with what is published?"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest

from firstsilk.science.climate.damage import LOSS_AFUAKWA_CROOKSTON, LOSS_OMAFRA
from firstsilk.science.flowering.grain import (
    DRY_STEPS,
    FIELD_DRY_PCT,
    LOSS_STAGES,
    SILK_TO_BLACK_LAYER_SHARE,
    STAGE_SHARES,
    dry_on_stalk_pct,
    find_stage_share,
    frost_loss_by_share_pct,
    grain_moisture_pct,
    share_of_filling,
)
from firstsilk.science.flowering.ripe_chance import EMERGENCE_UNITS, HybridNeed, need_of_late_sowing, wilson_interval
from firstsilk.science.flowering.ripening import KERNEL_STAGES, units_to_dry

KILLED = {
    # stage: (leaves, plant) percent. Ortez et al. 2022, after Afuakwa & Crookston 1984; OMAFRA 2017.
    "R5": (25, 40),
    "R5.5": (5, 12),
    "R6": (0, 0),
}
OMAFRA = {"dough": (35, 55), "dent": (25, 40), "mid-dent": (5, 10), "black layer": (0, 0)}


@pytest.mark.parametrize(
    ("stage", "moisture_pct"),
    # Nielsen, Grain Fill Stages (R2-R4; R5 55-60, R6 30-35); Kassel 2015 after Abendroth et al. 2011 (R5 and on).
    [("R2", 85), ("R3", 80), ("R4", 70), ("R5", 60), ("R5.25", 52), ("R5.5", 40), ("R5.75", 37), ("R6", 35)],
)
def test_moisture_at_a_stage_is_the_published_one(stage, moisture_pct):
    share = find_stage_share(stage)
    assert grain_moisture_pct(1200 + share * 1100, 1200, 2300, "chu") == pytest.approx(moisture_pct)


def test_moisture_table_holds_the_kernel_stages_of_the_one_beside_it():
    ours = {stage.name: stage.moisture_pct for stage in STAGE_SHARES}
    assert {stage.name: stage.moisture_pct for stage in KERNEL_STAGES}.items() <= ours.items()


@pytest.mark.parametrize(
    ("stage", "left_gdd_f", "off"),
    [
        # Lauer, W028, relative maturity 85-90, of 1,000 from silk.
        ("R2", 800, 20),
        # Coefficients table (HPRCC), of 918 / 1,200 / 1,562 from silk: R4 at 0.40 of the way.
        ("R4", 600, 20),
        # Purdue: R5 lasts 337-360 gdd_f.
        ("R5", 348.5, 12),
        # Country Folks 2019: a quarter of the milk line 300, half 200, little left 100.
        ("R5.25", 300, 10),
        ("R5.5", 200, 10),
        ("R5.75", 100, 10),
    ],
)
def test_units_left_at_a_stage_are_the_published_ones(stage, left_gdd_f, off):
    """Of 1,000 gdd_f from silk to black layer: Lauer; 900-1,100 NDSU 2004."""
    assert (1.0 - find_stage_share(stage)) * 1000 == pytest.approx(left_gdd_f, abs=off)


@pytest.mark.parametrize(
    ("scale", "units", "moisture_pct"),
    [
        # Barker 2013: 50 chu a point above 25 %, 75 below. 500 to 25 %, 625 from 30 to 20 %.
        ("chu", 250, 30),
        ("chu", 500, 25),
        ("chu", 250 + 625, 20),
        # Thomison: 30 gdd_f a point from 30 to 25 %, 45 from 25 to 20: 375 in all.
        ("gdd_f", 150, 30),
        ("gdd_f", 150 + 375, 20),
        ("gdd_c", (150 + 375) / 1.8, 20),
    ],
)
def test_moisture_after_black_layer_falls_by_the_published_units_a_point(scale, units, moisture_pct):
    assert grain_moisture_pct(2300 + units, 1200, 2300, scale) == pytest.approx(moisture_pct)
    assert units_to_dry(35, moisture_pct, DRY_STEPS[scale]) == pytest.approx(units)
    assert dry_on_stalk_pct(35, units, scale) == pytest.approx(moisture_pct)
    # From 30 %: 5 points at the upper step, 5 at the lower, as printed.
    whole = {"chu": 625, "gdd_f": 375, "gdd_c": 375 / 1.8}[scale]
    assert dry_on_stalk_pct([30, 30, np.inf, 12], [whole, 0, whole, whole], scale) == pytest.approx(
        [20, 30, np.inf, 12]
    )


def test_moisture_before_silk_does_not_exist_and_on_the_stalk_has_a_floor():
    assert grain_moisture_pct([1100, 1200, 9000], 1200, 2300, "chu").tolist() == [np.inf, 85.0, FIELD_DRY_PCT]
    assert np.isnan(grain_moisture_pct(np.nan, 1200, 2300, "chu"))


def test_moisture_never_rises_with_units():
    wet = grain_moisture_pct(np.linspace(1200, 4500, 700), 1200, 2300, "chu")
    assert (np.diff(wet) <= 0).all()


@pytest.mark.parametrize(("table", "published"), [(LOSS_AFUAKWA_CROOKSTON, KILLED), (LOSS_OMAFRA, OMAFRA)])
def test_loss_at_a_stage_is_the_published_one_and_between_stages_between_them(table, published):
    assert [row.stage for row in table] == list(published)
    shares = [find_stage_share(stage) for stage in published]
    assert shares == sorted(shares)
    for at, killed in enumerate(("leaves", "plant")):
        losses = [pair[at] for pair in published.values()]
        assert frost_loss_by_share_pct(shares, killed, table).tolist() == losses
        middle = (np.array(shares[1:]) + shares[:-1]) / 2
        assert frost_loss_by_share_pct(middle, killed, table) == pytest.approx((np.array(losses[1:]) + losses[:-1]) / 2)
        # Before the first stage its value, after black layer and without a frost nothing.
        assert frost_loss_by_share_pct([-1.0, 0.1, 1.4, np.nan], killed, table).tolist() == [losses[0], losses[0], 0, 0]


def test_stage_that_is_not_known_is_named():
    with pytest.raises(KeyError, match="R9"):
        find_stage_share("R9")
    assert set(LOSS_STAGES.values()) <= {stage.name for stage in STAGE_SHARES}


def test_default_share_after_silk_gives_the_published_units():
    # A hybrid of 2,300 chu in silk needs about 1,100 more: Nadler.
    assert 2300 - HybridNeed("A", 2300.0).silk_or_share("chu") == pytest.approx(1100)
    # 900-1,100 gdd_f from silk to black layer for 75 to 95 days, which need 1,900 to 2,300: NDSU 2004.
    for need in (1950.0, 2150.0, 2300.0):
        assert 900 <= need - HybridNeed("A", need).silk_or_share("gdd_f") <= 1100
    assert SILK_TO_BLACK_LAYER_SHARE["gdd_c"] == SILK_TO_BLACK_LAYER_SHARE["gdd_f"]
    assert HybridNeed("A", 2300.0, 1250.0).silk_or_share("chu") == 1250.0


def test_emergence_units_lie_in_the_published_ranges():
    assert 160 <= EMERGENCE_UNITS["chu"] <= 175  # Cowan 160-170, RealAg 165-175
    assert 90 <= EMERGENCE_UNITS["gdd_f"] <= 125  # Purdue 115 (90-120), Lauer 125
    assert EMERGENCE_UNITS["gdd_c"] * 1.8 == pytest.approx(EMERGENCE_UNITS["gdd_f"])


def test_late_sowing_lowers_the_need_as_published():
    # 2,700 less 29 days of 6.8 is about 2,500 (Nielsen); 30 days are 204 (Thomison).
    assert need_of_late_sowing(HybridNeed("A", 2700.0), 29, 6.8).to_black_layer == pytest.approx(2502.8)
    assert 2700 - need_of_late_sowing(HybridNeed("A", 2700.0), 30, 6.8).to_black_layer == pytest.approx(204)
    # Early June against early May: silk 34, grain fill 110, in all 144 fewer (Nielsen et al. 2002).
    late = need_of_late_sowing(HybridNeed("A", 2400.0, 1250.0), 144 / 3.8, 3.8)
    assert (1250 - late.to_silk, 2400 - late.to_black_layer) == pytest.approx((34, 144))
    assert need_of_late_sowing(HybridNeed("A", 2400.0, 1250.0), 0, 6.8) == HybridNeed("A", 2400.0, 1250.0)
    with pytest.raises(ValueError, match="nothing to fill"):
        need_of_late_sowing(HybridNeed("A", 2400.0, 1250.0), 300, 6.8)


@pytest.mark.parametrize(
    ("found", "tried", "low", "high"),
    # Newcombe 1998, Stat. Med. 17:857-872, method 3 (from memory).
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_interval_of_a_chance_is_the_published_one(found, tried, low, high):
    assert wilson_interval(found, tried, 0.95) == pytest.approx((low, high), abs=0.00005)


@pytest.mark.parametrize(("found", "tried"), [(0, 1), (1, 1), (5, 12), (30, 30), (7, 30)])
@pytest.mark.parametrize("level", [0.8, 0.95])
def test_interval_of_a_chance_is_that_of_scipy(found, tried, level):
    theirs = binomtest(found, tried).proportion_ci(level, method="wilson")
    assert wilson_interval(found, tried, level) == pytest.approx((theirs.low, theirs.high), abs=1e-12)


def test_interval_without_years_does_not_exist_and_a_level_is_checked():
    assert wilson_interval(0, 0, 0.9) is None
    with pytest.raises(ValueError, match="level"):
        wilson_interval(1, 2, 1.0)


def test_share_of_filling_is_0_at_silk_and_1_at_black_layer():
    assert share_of_filling([1200, 2300, 1750, 1090], 1200, 2300).tolist() == pytest.approx([0, 1, 0.5, -0.1])
