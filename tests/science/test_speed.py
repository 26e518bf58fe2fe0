"""Does the pace that notes tell come out right, robust, and shrunk towards what is published?"""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from firstsilk.science.flowering.crew import PUBLISHED_PER_HOUR
from firstsilk.science.flowering.speed import TimedNote, gather_worker_days, measure_speed

DAY = date(2031, 7, 20)


def work(worker="W1", day=0, start=600.0, step=12.0, notes=26, each=4, other=0):
    """A day of notes: so many, so many minutes apart, each telling so many pollinations."""
    on = DAY + timedelta(days=day)
    made = [TimedNote(worker, on, start + step * at, each) for at in range(notes)]
    return made + [TimedNote(worker, on, start - 20 * (at + 1), 0) for at in range(other)]


def days_of_work(count):
    return [note for at in range(count) for note in work(day=at)]


def test_a_workers_day_counts_hours_between_notes_and_what_was_done_in_them():
    (day,) = gather_worker_days(work())
    # 25 steps of 12 minutes, the first note's four left out.
    assert (day.hours, day.pollinations, day.per_hour) == (5.0, 100, 20.0)
    (longer,) = gather_worker_days(work(other=3))
    # An hour of other work before, in steps of 20 minutes; now the first four were done within the time.
    assert (longer.hours, longer.pollinations) == (6.0, 104)


def test_a_break_is_no_work_and_the_order_of_notes_does_not_matter():
    notes = work(notes=11) + work(start=600 + 120 + 45, notes=11)
    (day,) = gather_worker_days(notes)
    assert (day.hours, day.pollinations) == (4.0, 80)
    assert gather_worker_days(reversed(notes)) == (day,)
    # Ten at once may take 78 minutes, twice the published rate.
    slow = [TimedNote("W1", DAY, 600, 0), TimedNote("W1", DAY, 660, 10), TimedNote("W1", DAY, 739, 10)]
    assert (gather_worker_days(slow)[0].hours, gather_worker_days(slow)[0].pollinations) == (1.0, 10)
    assert gather_worker_days([TimedNote("W1", DAY, 600, 0), TimedNote("W1", DAY, 620, 0)]) == ()


def test_without_notes_the_published_rate_stands():
    speed = measure_speed([])
    assert speed.per_hour == pytest.approx(PUBLISHED_PER_HOUR)
    assert (speed.own_per_hour, speed.n_days, speed.beginner_speed) == (None, 0, 0.6)


def test_the_stations_own_pace_takes_over_with_the_days_it_rests_on():
    few = measure_speed(gather_worker_days(work(day=5)), beginner_days=0)
    assert few.per_hour == pytest.approx((20 + 10 * PUBLISHED_PER_HOUR) / 11)
    many = measure_speed(gather_worker_days(days_of_work(90)), beginner_days=0)
    assert many.per_hour == pytest.approx((90 * 20 + 10 * PUBLISHED_PER_HOUR) / 100)
    assert (many.own_per_hour, many.n_days) == (20.0, 90)


def test_one_odd_day_does_not_move_the_pace():
    notes = days_of_work(20) + work(day=30, step=29, each=1)
    assert measure_speed(gather_worker_days(notes), beginner_days=0).own_per_hour == 20.0


def test_notes_written_in_one_go_are_left_out_and_counted():
    notes = days_of_work(6) + work("W2", step=3, each=9)
    speed = measure_speed(gather_worker_days(notes), beginner_days=0)
    assert (speed.n_days, speed.n_too_fast, speed.own_per_hour) == (6, 1, 20.0)


def test_beginners_pace_is_told_by_first_days_against_later_ones():
    notes = []
    for number in range(15):
        for day in range(5):
            notes += work(f"W{number}", day, step=24.0 if day < 2 else 12.0)
    speed = measure_speed(gather_worker_days(notes))
    # 10 an hour on two first days of 15 workers, 20 on three later ones.
    assert (speed.n_first, speed.n_later, speed.own_per_hour) == (30, 45, 20.0)
    assert speed.beginner_speed == pytest.approx((30 * 0.5 + 10 * 0.6) / 40)


def test_a_known_pace_is_found_again_from_scattered_notes():
    dice = np.random.default_rng(3)
    notes = []
    for number in range(12):
        pace = 18 * np.exp(dice.normal(0, 0.2))
        for day in range(10):
            minute = 600.0
            while minute < 600 + 6 * 60:
                ears = int(dice.integers(1, 7))
                minute += ears * 60 / pace * np.exp(dice.normal(0, 0.3))
                notes.append(TimedNote(f"W{number}", DAY + timedelta(days=day), minute, ears))
    speed = measure_speed(gather_worker_days(notes))
    # Twelve workers' middles spread by 20 %: their median is known to about 7 %.
    assert speed.per_hour == pytest.approx(18, rel=0.15)
