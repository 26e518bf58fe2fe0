"""Do our formulas give the numbers that others have published?

The values are typed into ``agronomy_cases.csv``, each with its source and whether it is published, worked by hand from
the published formula, read off a general-purpose climate library, or from memory. Rows with a low and a high bound are
put to our functions by one adapter for each topic; rows in words are tested in ``test_agronomy_words.py``.
"""

from __future__ import annotations

import csv
import importlib.util
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from firstsilk.science.climate import damage, frost, heat, humidity
from firstsilk.science.flowering import nicking, ripening, stages
from firstsilk.science.trials import drying, scores, stands, yields

CASES_FILE = Path(__file__).with_name("agronomy_cases.csv")
Inputs = dict[str, str]


@dataclass(frozen=True, slots=True)
class Case:
    """One check row; `low` and `high` are None where the expected value is in words."""

    topic: str
    inputs: str
    expected: str
    source: str
    kind: str
    low: float | None
    high: float | None

    @property
    def key(self) -> tuple[str, str]:
        return self.topic, self.inputs

    def pairs(self) -> Inputs:
        parts = (part.partition("=") for part in self.inputs.split(";"))
        return {name.strip(): value.strip() for name, _, value in parts}


def read_cases() -> tuple[Case, ...]:
    with CASES_FILE.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return tuple(
        Case(
            row["topic"],
            row["inputs"],
            row["expected"],
            row["source"],
            row["kind"],
            float(row["low"]) if row["low"] else None,
            float(row["high"]) if row["high"] else None,
        )
        for row in rows
    )


def number(inputs: Inputs, name: str) -> float:
    """The number with which the text of an input begins."""
    found = re.match(r"[+-]?\d+(\.\d+)?", inputs[name])
    assert found, inputs
    return float(found.group())


def series(inputs: Inputs, name: str) -> list[float]:
    return [float(part) for part in inputs[name].split("|")]


def day_pairs(inputs: Inputs) -> tuple[list[float], list[float]]:
    """Minima and maxima of ``days=max/min+max/min``."""
    pairs = [tuple(map(float, pair.split("/"))) for pair in inputs["days"].split("+")]
    return [low for _, low in pairs], [high for high, _ in pairs]


def in_f(count: Callable[..., object], **more: object) -> Callable[[Inputs], float]:
    return lambda i: float(count(number(i, "tmin_f"), number(i, "tmax_f"), **more))  # type: ignore[arg-type]


def in_c(count: Callable[..., object], **more: object) -> Callable[[Inputs], float]:
    return lambda i: float(count(number(i, "tmin_c"), number(i, "tmax_c"), **more))  # type: ignore[arg-type]


def with_limits(count: Callable[..., object], unit: str) -> Callable[[Inputs], float]:
    def run(i: Inputs) -> float:
        limits = heat.DegreeDayLimits(number(i, "lower"), number(i, "upper"))
        return float(count(number(i, f"tmin_{unit}"), number(i, f"tmax_{unit}"), limits))  # type: ignore[arg-type]

    return run


def summed(scale: heat.Scale, unit: heat.Unit) -> Callable[[Inputs], float]:
    return lambda i: float(heat.heat_units(*day_pairs(i), scale, unit).sum())


def frost_loss(i: Inputs) -> float:
    if "killed" in i:
        killed: damage.Killed = "leaves" if i["killed"] == "leaves only" else "plant"
        return damage.frost_yield_loss_pct(i["stage"], killed)
    killed = "plant" if i["frost"] == "killing" else "leaves"
    return damage.frost_yield_loss_pct(i["stage"], killed, damage.LOSS_OMAFRA)


def frost_quantile(rule: frost.QuantileType) -> Callable[[Inputs], float]:
    def run(i: Inputs) -> float:
        days = tuple(int(day) for day in series(i, "DOYs"))
        years = tuple(range(2001, 2001 + len(days)))
        frosts = frost.FrostYears("first_autumn", years, years, days, ())
        answer = frost.estimate_frost_day(frosts, number(i, "p"), "percentile", rule)
        assert answer is not None
        return answer

    return run


def mixed(i: Inputs) -> float:
    answer = frost.mixed_frost_day(number(i, "mean"), number(i, "sd"), number(i, "p"), number(i, "q"))
    assert answer is not None
    return answer


def late_black_layer(i: Inputs) -> float:
    if "normal" in i:
        return stages.late_planting_need_gdd_f(number(i, "normal"), number(i, "days_after_May1"), number(i, "per_day"))
    return stages.late_planting_cut_gdd_f(number(i, "days"), number(i, "per_day"))


def humid(function: Callable[..., object]) -> Callable[[Inputs], float]:
    names = ("tmin", "tmax", "rhmax", "rhmin")
    return lambda i: float(function(*(number(i, name) for name in names)))  # type: ignore[arg-type]


def dew(i: Inputs) -> float:
    return float(humidity.dew_point_from_humidity_c(number(i, "T"), number(i, "RH")))


def deficit_sonntag(i: Inputs) -> float:
    return float(humidity.saturation_pressure_sonntag_kpa(number(i, "T"))) * (1.0 - number(i, "RH") / 100.0)


def counted(i: Inputs) -> list[int]:
    return [int(value) for value in series(i, "counts scores0-5")]


def pressure(i: Inputs) -> float:
    return float(humidity.air_pressure_kpa(number(i, "alt")))


ADAPTERS: dict[str, Callable[[Inputs], float]] = {
    "gdd_f_capped": in_f(heat.heat_units, scale="gdd_f", unit="f"),
    "gdd_c_capped": in_c(heat.heat_units, scale="gdd_c"),
    "chu_ontario": in_c(heat.heat_units, scale="chu"),
    "gdd_f_capped_sum": summed("gdd_f", "f"),
    "chu_season_sum": summed("chu", "c"),
    "gdd_f_plain": in_f(heat.count_gdd_plain, base=50.0),
    "gdd_c_plain": in_c(heat.count_gdd_plain, base=10.0),
    "gdd_c_method1": in_c(heat.count_gdd_mean_clamped, limits=heat.GDD_C),
    "gdd_f_sine_hcut": with_limits(heat.count_gdd_sine, "f"),
    "gdd_c_sine_hcut": with_limits(heat.count_gdd_sine, "c"),
    "gdd_f_triangle_hcut": with_limits(heat.count_gdd_triangle, "f"),
    "gdd_c_from_means_sum": lambda i: float(
        heat.count_gdd_from_means(series(i, "daily_means_c"), number(i, "base")).sum()
    ),
    "chu_444_clipped": in_c(heat.count_chu, constants=heat.CHU_NIGHT_4_44),
    "chu_unclipped_AAFC": in_c(heat.count_chu, constants=heat.CHU_UNFLOORED),
    "chu_prairie_3.30_0.082": in_c(heat.count_chu, constants=heat.CHU_PRAIRIE),
    "chu_remaining": lambda i: ripening.units_left(number(i, "hybrid_chu"), number(i, "accumulated")),
    "chu_days_left": lambda i: ripening.days_left(number(i, "remaining"), number(i, "chu_per_day")),
    "chu_from_rm": lambda i: stages.chu_from_relative_maturity(number(i, "rm_days"), number(i, "factor")),
    "chu_after_emergence": lambda i: stages.chu_since_emergence(number(i, "accumulated"), number(i, "emergence")),
    "days_per_leaf": lambda i: stages.days_per_leaf(number(i, "gdd_per_leaf"), number(i, "gdd_per_day")),
    "gdd_to_black_layer_late": late_black_layer,
    "gdd_planting_to_black_layer": lambda i: stages.gdd_f_to_black_layer(number(i, "rm")),
    "gdd_silk_to_black_layer": lambda i: stages.gdd_f_left_to_black_layer("R1", i["rm"]),
    "gdd_dent_R5_to_black_layer": lambda i: stages.gdd_f_left_to_black_layer("R5", i["rm"]),
    "gdd_silk_u2u": lambda i: stages.gdd_f_to_silk_by_line(number(i, "rm")),
    "gdd_black_layer_u2u": lambda i: stages.gdd_f_to_black_layer_by_line(number(i, "rm")),
    "drydown_rate_temp": lambda i: ripening.dry_rate_points_per_day(number(i, "tavg_f")),
    "frost_yield_loss_pct": frost_loss,
    "frost_date_normal": lambda i: frost.normal_frost_day(number(i, "mean"), number(i, "sd"), number(i, "p")),
    "frost_date_mixed": mixed,
    "frost_pctl_type7": frost_quantile(7),
    "frost_pctl_weibull": frost_quantile(6),
    "frost_pctl_hazen": frost_quantile(5),
    "asi_days": lambda i: nicking.silk_shed_interval_days(number(i, "silk50"), number(i, "pollen50")),
    "anthers_per_tassel": lambda i: nicking.anthers_per_tassel(
        int(number(i, "spikelets")), int(number(i, "florets")), int(number(i, "anthers"))
    ),
    "yield_bu_ac": lambda i: float(yields.yield_bu_ac(number(i, "lb"), number(i, "area_ft2"), number(i, "moist"))),
    "yield_kg_ha": lambda i: float(
        yields.yield_kg_ha(number(i, "kg"), number(i, "area_m2"), number(i, "moist"), number(i, "std"))
    ),
    "plot_area_acres": lambda i: float(
        yields.plot_area_ac(number(i, "row_ft"), number(i, "row_in"), number(i, "rows"))
    ),
    "ear_corn_lb_per_bu": lambda i: float(yields.ear_corn_lb_per_bushel(number(i, "kernel_moist"))),
    "shelled_lb_per_bu": lambda i: float(yields.shelled_lb_per_bushel(number(i, "moist"))),
    "shrink_factor_per_pt": lambda i: drying.shrink_factor_per_point(number(i, "final")),
    "row_length_1_1000_ha": lambda i: stands.row_length_m(number(i, "row_cm")),
    "row_length_1_100_acre": lambda i: stands.row_length_ft(number(i, "row_in"), 1.0 / 100.0),
    "seed_spacing_in": lambda i: stands.seed_spacing_in(number(i, "seeds_per_acre"), number(i, "row_in")),
    "final_population": lambda i: stands.plants_after_loss(number(i, "seeds/ac"), number(i, "stand loss")),
    "stand_pct": lambda i: stands.stand_pct(number(i, "count"), number(i, "intended")),
    "select_index": lambda i: stands.selection_number(number(i, "erect"), number(i, "yield"), number(i, "moist")),
    "disease_severity_index": lambda i: scores.disease_severity_index(counted(i)),
    "disease_incidence": lambda i: scores.disease_incidence_pct(counted(i)),
    "audpc": lambda i: scores.area_under_progress(series(i, "sev"), series(i, "t")),
    "audps": lambda i: scores.area_under_stairs(series(i, "sev"), series(i, "t")),
    "yield_index": lambda i: scores.yield_index(number(i, "entry"), number(i, "trial_mean")),
    "es_kpa": lambda i: float(humidity.saturation_pressure_kpa(number(i, "T"))),
    "es_kpa_metpy": lambda i: float(humidity.saturation_pressure_kpa(number(i, "T"))),
    "ea_psychrometer": lambda i: float(
        humidity.vapour_pressure_from_bulbs_kpa(number(i, "tdry"), number(i, "twet"), number(i, "P"), number(i, "coef"))
    ),
    "ea_rhmaxmin": humid(humidity.vapour_pressure_from_humidity_kpa),
    "vpd_kpa": humid(humidity.daily_vapour_deficit_kpa),
    "pressure_kpa": pressure,
    "psychrometric_const": lambda i: float(humidity.psychrometric_constant_kpa_c(pressure(i))),
    "dew_point_c": dew,
    "dew_point_c_fao": dew,
    "dew_point_c_metpy": dew,
    "vpd_kpa_fao": lambda i: float(humidity.vapour_deficit_kpa(number(i, "T"), number(i, "RH"))),
    "vpd_kpa_xclim_sonntag90": deficit_sonntag,
    "rh_from_dewpoint": lambda i: float(humidity.relative_humidity_pct(number(i, "T"), number(i, "Td"))),
}


def rows_in_words() -> frozenset[tuple[str, str]]:
    """The rows that ``test_agronomy_words.py`` says it covers; the file is loaded from beside this one."""
    path = Path(__file__).with_name("test_agronomy_words.py")
    spec = importlib.util.spec_from_file_location("agronomy_words", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    rows: frozenset[tuple[str, str]] = module.covered_rows()
    return rows


CASES = read_cases()
MACHINE = [case for case in CASES if case.low is not None]
NOT_COVERED: dict[tuple[str, str], str] = {}
"""Topic and inputs of each row that is not tested, with the reason."""


@pytest.mark.parametrize("case", MACHINE, ids=lambda case: f"{case.topic}[{case.inputs}]")
def test_a_published_value_is_met_within_its_tolerance(case: Case) -> None:
    assert case.low is not None
    assert case.high is not None
    ours = ADAPTERS[case.topic](case.pairs())
    # A tolerance of exactly 0 still allows the last binary digit.
    assert case.low - 1e-12 <= ours <= case.high + 1e-12, f"{ours} is not {case.expected} ({case.source}, {case.kind})"


def test_every_row_of_the_check_table_is_tested_or_named_as_not_covered() -> None:
    in_words = rows_in_words()
    for case in CASES:
        places = [case.low is not None and case.topic in ADAPTERS, case.key in in_words, case.key in NOT_COVERED]
        assert places.count(True) == 1, f"{case.key} is covered {places.count(True)} times"


def test_no_test_speaks_of_a_row_that_is_not_in_the_check_table() -> None:
    keys = {case.key for case in CASES}
    assert rows_in_words() <= keys
    assert set(NOT_COVERED) <= keys
    assert set(ADAPTERS) <= {case.topic for case in MACHINE}


def test_the_check_table_is_whole_and_every_row_names_source_and_kind() -> None:
    assert len(CASES) == 226
    assert all(case.source and case.kind for case in CASES)
