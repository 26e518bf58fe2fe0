"""Does `firstsilk ripen` give chance, date and moisture, north and south, with every fault named?"""

from __future__ import annotations

from datetime import date, timedelta

import polars
import pytest

from tests.faces.calling import call, one_object, rows_of, weather_csv, write

HEADER = "hybrid,years,p_ripe_before_killing_frost,median_black_layer_date,moisture_at_frost_pct"
TEN_CHU = (4.4, 17.4)
"""A night of nothing and a day of 10.2 CHU: (3.33 x 7.4 - 0.084 x 7.4^2) / 2."""
DAILY_CHU = (3.33 * 7.4 - 0.084 * 7.4**2) / 2


def year(number, frost=None, last=(12, 31), first=(1, 1), skip=()):
    start, end = date(number, *first), date(number, *last)
    days = [start + timedelta(days=step) for step in range((end - start).days + 1)]
    return [(day, -3.0 if day == frost else TEN_CHU[0], TEN_CHU[1]) for day in days if day not in skip]


def years(*frosts, start=2031, **rest):
    """One year for each frost, given as (month, day) or None."""
    days = []
    for step, frost in enumerate(frosts):
        days += year(start + step, date(start + step, *frost) if frost else None, **rest)
    return weather_csv(days)


def ask(tmp_path, capsys, weather, hybrids, *options, sown="2035-05-10"):
    paths = (write(tmp_path, hybrids, "hybrids.csv"), write(tmp_path, weather))
    return call(capsys, "ripen", *paths, "--sown", sown, *options)


def hybrids_csv(*needs):
    rows = [f"H{at},{black},{'' if silk is None else silk}\n" for at, (black, silk) in enumerate(needs, 1)]
    return "hybrid,units_to_black_layer,units_to_silk\n" + "".join(rows)


def units(days):
    """Heat units after so many days, a trifle less, so that they are reached on that day."""
    return round(days * DAILY_CHU - 0.01, 2)


def test_ripen_gives_the_columns_of_the_door_and_what_a_hand_count_gives(tmp_path, capsys):
    # Sown 10 May: 10 September is day 123. Frosts on 9, 10, 11 and 12 September, so on days 122 to 125.
    weather = years((9, 9), (9, 10), (9, 11), (9, 12))
    code, out, err = ask(
        tmp_path, capsys, weather, hybrids_csv((units(122), 700), (units(124), 700), (units(90), None))
    )
    assert code == 0
    assert out.splitlines()[0] == HEADER
    first, second, third = rows_of(out)
    assert "only 4 years" in err
    # Day 122 is strictly before the frost in three of the four years.
    assert (first["years"], first["p_ripe_before_killing_frost"]) == ("4", "0.75")
    assert first["median_black_layer_date"] == "2035-09-09"
    assert (second["p_ripe_before_killing_frost"], second["median_black_layer_date"]) == ("0.25", "2035-09-11")
    # The frosts fall on days 122 to 125, so 121 to 124 days are counted on their eves: the middle has 122.5.
    past = (122.5 - 90) * DAILY_CHU
    assert float(third["moisture_at_frost_pct"]) == pytest.approx(35 - past / 50, abs=0.01)
    assert third["p_ripe_before_killing_frost"] == "1"


def test_ripen_takes_the_year_of_the_median_from_the_sowing_or_else_from_the_last_year(tmp_path, capsys):
    for sown, named in (("2050-05-10", "2050-09-09"), ("05-10", "2032-09-09")):
        _, out, _ = ask(tmp_path, capsys, years((9, 20), (9, 20)), hybrids_csv((units(122), None)), sown=sown)
        assert rows_of(out)[0]["median_black_layer_date"] == named


def test_ripen_that_is_never_reached_has_no_date_and_a_median_of_mostly_never_has_none(tmp_path, capsys):
    _, out, _ = ask(tmp_path, capsys, years((9, 9), (9, 9)), hybrids_csv((3800, 2700)), "--json")
    (row,) = one_object(out)["rows"]
    assert row["p_ripe_before_killing_frost"] == 0
    assert row["median_black_layer_date"] is None
    # Before silk there is no grain, so no moisture.
    assert row["moisture_at_frost_pct"] is None


def test_ripen_at_a_site_without_frost_is_ripe_if_reached_and_has_no_moisture_at_frost(tmp_path, capsys):
    _, out, _ = ask(tmp_path, capsys, years(None, None), hybrids_csv((units(200), None), (units(236), None)))
    rows = rows_of(out)
    assert [row["p_ripe_before_killing_frost"] for row in rows] == ["1", "0"]
    assert {row["moisture_at_frost_pct"] for row in rows} == {""}
    _, out, _ = ask(tmp_path, capsys, years((9, 9)), hybrids_csv((units(200), None)), "--killing", "-5")
    assert rows_of(out)[0]["p_ripe_before_killing_frost"] == "1"


def test_ripen_names_years_that_do_not_count_and_why(tmp_path, capsys):
    days = year(2031, None, last=(6, 20)) + year(2032, date(2032, 9, 9), skip=(date(2032, 7, 4),))
    days += year(2033, date(2033, 9, 20)) + year(2034, None, last=(5, 11))
    hybrids = hybrids_csv((units(122), None))
    code, out, err = ask(tmp_path, capsys, weather_csv(days), hybrids, "--json")
    assert code == 0
    assert [(row["year"], row["why"].split()[-1]) for row in one_object(out)["left_out"]] == [
        (2031, "decided"),
        (2032, "missing"),
        (2034, "decided"),
    ]
    assert "2031, 2034" in err
    assert one_object(out)["rows"][0]["years"] == 1
    _, out, _ = ask(tmp_path, capsys, weather_csv(days), hybrids, "--gaps", "interpolate", "--json")
    # One missing day is filled, the half year after June 2031 is not.
    assert one_object(out)["rows"][0]["years"] == 2


def test_ripen_of_weather_that_stops_in_june_has_no_year_and_says_so(tmp_path, capsys):
    code, out, err = ask(tmp_path, capsys, years(None, last=(6, 20)), hybrids_csv((units(122), None)))
    assert code == 0
    assert rows_of(out) == [dict(zip(HEADER.split(","), ["H1", "0", "", "", ""], strict=True))]
    assert "no year counts" in err


def test_ripen_counted_from_emergence_begins_that_many_units_later(tmp_path, capsys):
    weather = years((9, 20), (9, 20))
    for options, days in (
        (("--counted-from", "emergence", "--emergence-units", units(10)), 110),
        (("--counted-from", "emergence"), 100 + 17),
        (("--counted-from", "sowing"), 100),
    ):
        _, out, _ = ask(tmp_path, capsys, weather, hybrids_csv((units(100), None)), *options, "--json")
        answer = one_object(out)
        reached = date(2035, 5, 10) + timedelta(days=days)
        assert answer["rows"][0]["median_black_layer_date"] == reached.isoformat()
    _, _, err = ask(tmp_path, capsys, weather, hybrids_csv((units(100), None)), "--emergence-units", "10")
    assert "not used" in err


@pytest.mark.parametrize(("scale", "default"), [("chu", 170.0), ("gdd_f", 115.0), ("gdd_c", 115.0 / 1.8)])
def test_ripen_says_the_default_units_to_emergence_of_each_scale(tmp_path, capsys, scale, default):
    asked = ("--counted-from", "emergence", "--scale", scale, "--json")
    _, out, _ = ask(tmp_path, capsys, years((9, 20)), hybrids_csv((units(100), None)), *asked)
    answer = one_object(out)
    assert (answer["scale"], answer["counted_from"]) == (scale, "emergence")
    assert answer["emergence_units"] == pytest.approx(default)


def test_ripen_in_the_south_goes_over_the_new_year(tmp_path, capsys):
    days = year(2031) + year(2032, date(2032, 4, 20)) + year(2033, date(2033, 3, 20), last=(6, 30))
    asked = ("--south", "--years-out", tmp_path / "years.csv")
    hybrids = hybrids_csv((units(155), None))
    _, out, _ = ask(tmp_path, capsys, weather_csv(days), hybrids, *asked, sown="2031-10-20")
    (row,) = rows_of(out)
    # Day 155 is 23 March over the leap day, 24 March without; the second year froze before.
    assert (row["years"], row["p_ripe_before_killing_frost"]) == ("2", "0.5")
    assert row["median_black_layer_date"] == "2032-03-24"
    by_year = rows_of((tmp_path / "years.csv").read_text())
    assert [(one["sown"], one["black_layer"], one["frost"], one["ripe"]) for one in by_year] == [
        ("2031-10-20", "2032-03-23", "2032-04-20", "1"),
        ("2032-10-20", "2033-03-24", "2033-03-20", "0"),
    ]


def test_ripen_sown_on_29_february_is_taken(tmp_path, capsys):
    code, out, _ = ask(tmp_path, capsys, years((9, 9), (9, 9)), hybrids_csv((units(122), None)), sown="2032-02-29")
    assert code == 0
    assert rows_of(out)[0]["years"] == "2"


def test_ripen_with_more_asked_adds_columns_after_the_fixed_ones(tmp_path, capsys):
    asked = ("--moisture-on", "10-10", "--chance-ci", "0.95", "--loss")
    hybrids = hybrids_csv((units(122), 600))
    _, out, _ = ask(tmp_path, capsys, years((9, 1), (9, 20), (9, 20)), hybrids, *asked)
    assert out.splitlines()[0] == HEADER + ",moisture_on_pct,p_low,p_high,expected_loss_pct"
    (row,) = rows_of(out)
    # Wilson for 2 of 3, in the formula of 1927 worked by hand: centre 0.5731, half width 0.3655.
    assert (float(row["p_low"]), float(row["p_high"])) == pytest.approx((0.2077, 0.9385), abs=0.0002)
    # Frost on day 114 of a need of 122, so 113 days counted: between R5.75 and R5.5 of its way from silk.
    share = (113 * DAILY_CHU - 600) / (units(122) - 600)
    assert 0.8 < share < 0.9
    assert float(row["expected_loss_pct"]) == pytest.approx(12 * (1 - share) / 0.2 / 3, abs=1e-6)
    _, out, _ = ask(tmp_path, capsys, years((9, 1), (9, 20), (9, 20)), hybrids, "--json")
    losses = one_object(out)["losses"]
    assert [one["table"] for one in losses] == ["afuakwa_crookston", "omafra"]
    assert losses[0]["plant_pct"] == pytest.approx(float(row["expected_loss_pct"]))
    assert losses[1]["plant_pct"] == pytest.approx(10 * (1 - share) / 0.2 / 3, abs=1e-6)


def test_ripen_keeps_sites_apart_and_their_order(tmp_path, capsys):
    hill = [f"hill,{day},{low},{high}" for day, low, high in year(2031, date(2031, 9, 1))]
    vale = [f"vale,{day},{low},{high}" for day, low, high in year(2031, date(2031, 9, 20))]
    text = "site,date,tmin_c,tmax_c\n" + "\n".join(hill + vale) + "\n"
    _, out, err = ask(tmp_path, capsys, text, hybrids_csv((units(122), None), (units(100), None)))
    assert out.splitlines()[0] == "site," + HEADER
    assert [(row["site"], row["hybrid"], row["p_ripe_before_killing_frost"]) for row in rows_of(out)] == [
        ("hill", "H1", "0"),
        ("hill", "H2", "1"),
        ("vale", "H1", "1"),
        ("vale", "H2", "1"),
    ]
    assert "only 1 year counted at site hill" in err


def test_ripen_of_a_fahrenheit_file_is_that_of_its_celsius_twin(tmp_path, capsys):
    celsius = years((9, 9), (9, 20))
    lines = [line.split(",") for line in celsius.splitlines()[1:]]
    fahrenheit = weather_csv(
        ((day, round(float(low) * 1.8 + 32, 6), round(float(high) * 1.8 + 32, 6)) for day, low, high in lines),
        "date,tmin_f,tmax_f",
    )
    hybrids = hybrids_csv((units(122), None))
    assert ask(tmp_path, capsys, celsius, hybrids, "--killing", "-3") == ask(
        tmp_path, capsys, fahrenheit, hybrids, "--killing", "-3"
    )


def test_ripen_with_a_cut_for_late_sowing_needs_fewer_units_after_the_first_of_may(tmp_path, capsys):
    weather, hybrids = years((9, 20), (9, 20)), hybrids_csv((units(130), None))
    for sown, days in (("05-31", 124), ("05-01", 130), ("04-20", 130)):
        # 30 days of 2.1 CHU are 63, the units of 6.3 days.
        _, out, _ = ask(tmp_path, capsys, weather, hybrids, "--late-cut", "2.1", sown=f"2031-{sown}")
        reached = date.fromisoformat(f"2031-{sown}") + timedelta(days=days)
        assert rows_of(out)[0]["median_black_layer_date"] == reached.isoformat()
    for wrong in ("-1", "nan", "500"):
        assert ask(tmp_path, capsys, weather, hybrids, "--late-cut", wrong)[0] == 2


def test_ripen_of_units_that_look_like_another_scale_warns_and_goes_on(tmp_path, capsys):
    code, out, err = ask(tmp_path, capsys, years((9, 9)), hybrids_csv((2300, None)), "--scale", "gdd_c")
    assert code == 0
    assert rows_of(out)
    assert "hybrids.csv, line 2, column units_to_black_layer" in err
    assert "gdd_c" in err


@pytest.mark.parametrize(
    ("hybrids", "told"),
    [
        ("hybrid\nA\n", "column units_to_black_layer"),
        ("hybrid,units_to_black_layer\n", "no line under the header"),
        ("hybrid,units_to_black_layer\nA,\n", "line 2, column units_to_black_layer"),
        ("hybrid,units_to_black_layer\nA,0\n", "line 2, column units_to_black_layer"),
        ("hybrid,units_to_black_layer\nA,many\n", "line 2, column units_to_black_layer"),
        ("hybrid,units_to_black_layer\nA,2300\nA,2400\n", "line 3, column hybrid"),
        ("hybrid,units_to_black_layer\n,2300\n", "line 2, column hybrid"),
        ("hybrid,units_to_black_layer,units_to_silk\nA,2300,2300\n", "line 2, column units_to_silk"),
        ("hybrid,units_to_black_layer,units_to_silk\nA,2300,-5\n", "line 2, column units_to_silk"),
    ],
)
def test_ripen_refuses_bad_hybrids_in_one_sentence_and_writes_nothing(tmp_path, capsys, hybrids, told):
    files = (tmp_path / "out.csv", tmp_path / "years.csv")
    code, out, err = ask(tmp_path, capsys, years((9, 9)), hybrids, "--out", files[0], "--years-out", files[1])
    assert (code, out) == (1, "")
    assert not any(file.exists() for file in files)
    assert err.startswith("hybrids.csv")
    assert told in err
    assert len(err.splitlines()) == 1


@pytest.mark.parametrize(
    "options",
    [
        ("--sown", "May"),
        ("--sown", "2031-02-30"),
        ("--sown", "2031-05-10", "--moisture-on", "13-01"),
        ("--sown", "05-10", "--scale", "heat"),
        ("--sown", "05-10", "--killing", "nan"),
        ("--sown", "05-10", "--chance-ci", "1"),
        ("--sown", "05-10", "--counted-from", "emergence", "--emergence-units", "-1"),
        (),
    ],
)
def test_ripen_used_wrongly_ends_with_2(tmp_path, capsys, options):
    paths = (write(tmp_path, hybrids_csv((2300, None)), "hybrids.csv"), write(tmp_path, years((9, 9))))
    code, out, err = call(capsys, "ripen", *paths, *options)
    assert (code, out) == (2, "")
    assert "Error" in err


@pytest.mark.parametrize("suffix", ["xlsx", "parquet"])
def test_ripen_reads_and_writes_spreadsheets_and_parquet(tmp_path, capsys, suffix):
    frame = polars.read_csv(hybrids_csv((units(122), 700)).encode())
    source, target = tmp_path / f"hybrids.{suffix}", tmp_path / f"ripe.{suffix}"
    (frame.write_excel if suffix == "xlsx" else frame.write_parquet)(source)
    weather = write(tmp_path, years((9, 20), (9, 1)))
    code, out, _ = call(capsys, "ripen", source, weather, "--sown", "2031-05-10", "--out", target)
    assert (code, out) == (0, "")
    written = polars.read_excel(target) if suffix == "xlsx" else polars.read_parquet(target)
    assert written["p_ripe_before_killing_frost"].to_list() == [0.5]
