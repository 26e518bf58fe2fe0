"""Does an invented crew note a season that could have happened, in notes that can be read?"""

from __future__ import annotations

from collections import Counter
from datetime import date, timedelta

import pytest

from firstsilk.invented.crew import make_crew, send_notes, write_notes
from firstsilk.invented.drafts import NoteDraft, blur_drafts
from firstsilk.invented.playing import play_season
from firstsilk.invented.season import (
    CrewTask,
    Field,
    FieldRow,
    answer_day_list,
    find_minutes_an_ear,
    sow_field,
    walk_day,
)
from firstsilk.invented.world import World, build_world
from firstsilk.science.flowering.notes import KINDS, Note, read_note
from firstsilk.science.flowering.rows import RowState, read_row_states
from firstsilk.science.flowering.speed import TimedNote, gather_worker_days, measure_speed

SOWN = date(2031, 5, 14)


pytestmark = pytest.mark.xdist_group("invented_season")


@pytest.fixture(scope="module")
def world() -> World:
    return build_world(1)


def _rows(world: World) -> list[FieldRow]:
    (tester, _) = world.book.testers("Esker")
    rows = [FieldRow(f"M{at}", tester.name, SOWN + timedelta(days=5 * at), "male", 30) for at in range(3)]
    females = world.book.inbreds("Holm")[-12:]
    males = ("M0", "M1", "M2")
    rows += [FieldRow(f"F{at}", line.name, SOWN, "female", 30, males, "testcross") for at, line in enumerate(females)]
    selfed = world.book.inbreds()[:40]
    rows += [FieldRow(f"S{at}", line.name, SOWN, "self", 25, ears_wanted=8) for at, line in enumerate(selfed)]
    return [*rows, FieldRow("Z0", "CH10", SOWN, "filler", 25)]


@pytest.fixture(scope="module")
def field(world: World) -> Field:
    return sow_field(world, _rows(world))


@pytest.fixture(scope="module")
def days(field: Field) -> list[tuple[date, tuple[NoteDraft, ...]]]:
    return list(play_season(field))


@pytest.fixture(scope="module")
def notes(days: list[tuple[date, tuple[NoteDraft, ...]]]) -> list[Note]:
    crew = make_crew(1)
    return [read_note(wire) for _, drafts in days for phone in send_notes(crew, drafts) for wire in phone]


@pytest.fixture(scope="module")
def states(notes: list[Note]) -> dict[str, RowState]:
    return read_row_states(notes)


def test_season_when_played_twice_then_it_gives_the_same(
    world: World, days: list[tuple[date, tuple[NoteDraft, ...]]]
) -> None:
    assert list(play_season(sow_field(world, _rows(world)))) == days


def test_notes_when_sent_then_all_are_readable_and_of_known_kinds(notes: list[Note]) -> None:
    assert len(notes) > 1000
    for note in notes:
        kind = KINDS[note.kind]
        assert note.detail in (*kind.details, "")
        if kind.value == "count":
            assert int(note.value) >= 0
        if kind.value == "date":
            assert note.value == note.taken_on.isoformat()
    wanted = {"sown", "stand", "silk", "silk_not_yet", "shed", "shed_not_yet", "shoot_bagged", "tassel_bagged"}
    wanted |= {"pollinated", "spoiled", "rated", "ears_picked", "shelled"}
    assert {note.kind for note in notes} == wanted


def test_notes_when_numbered_then_each_phone_counts_densely_and_its_clock_runs_forward(notes: list[Note]) -> None:
    by_phone: dict[str, dict[int, Note]] = {}
    for note in notes:
        by_phone.setdefault(note.device, {})[note.number] = note
    assert len(by_phone) == 4
    for taken in by_phone.values():
        assert sorted(taken) == list(range(1, len(taken) + 1))
        clocks = [taken[number].taken_local for number in sorted(taken)]
        assert clocks == sorted(clocks)
    assert len({note.id for note in notes}) == sum(map(len, by_phone.values()))


def test_notes_when_some_are_sent_twice_then_nothing_changes(notes: list[Note], states: dict[str, RowState]) -> None:
    once = list({note.id: note for note in notes}.values())
    assert len(once) < len(notes)
    assert read_row_states(once) == states


def test_rows_when_read_from_the_notes_then_ears_never_exceed_plants(field: Field, states: dict[str, RowState]) -> None:
    assert set(states) == set(field.rows)
    for tag, state in states.items():
        assert state.stand == field.facts[tag].stand
        assert state.kernels >= state.ears_picked
        assert state.ears_picked <= state.ears_standing <= state.ears_pollinated <= state.shoot_bags <= state.stand
        assert not state.conflicts


def test_rows_when_read_from_the_notes_then_flowering_is_what_happened(
    field: Field, states: dict[str, RowState]
) -> None:
    for tag, facts in field.facts.items():
        if field.rows[tag].purpose != "filler":
            assert (states[tag].silk_on, states[tag].shed_on) == (facts.silk_on, facts.shed_on)
            assert facts.silk_on is not None
            assert states[tag].silk_not_yet is not None
            assert states[tag].silk_not_yet < facts.silk_on


def test_pollinations_when_noted_then_the_male_shed_and_the_day_was_dry(field: Field, notes: list[Note]) -> None:
    true_male = {mistake.key: mistake.true for mistake in field.mistakes}
    assert len(true_male) == sum(1 for note in notes if note.doubt == "male")
    for note in notes:
        if note.kind != "pollinated":
            continue
        assert field.world.weather.at(field.world.home, note.taken_on)[2] < 8.0
        if note.male and not note.doubt:
            assert field.facts[note.male].sheds(note.taken_on)
        elif not note.male:
            assert note.detail == "self"
            assert field.facts[note.tag].sheds(note.taken_on)


def test_selfs_when_eight_ears_are_wanted_then_no_row_gets_more(states: dict[str, RowState]) -> None:
    done = [state.ears_pollinated for tag, state in states.items() if tag.startswith("S")]
    assert max(done) == 8


def test_good_ears_when_summed_then_they_are_as_many_as_the_lines_success_says(
    field: Field, states: dict[str, RowState]
) -> None:
    expected = sum(states[tag].ears_standing * facts.success_frac for tag, facts in field.facts.items())
    spread = sum(
        states[tag].ears_standing * facts.success_frac * (1 - facts.success_frac) for tag, facts in field.facts.items()
    )
    picked = sum(state.ears_picked for state in states.values())
    assert abs(picked - expected) < 4 * spread**0.5
    kernels = sum(states[tag].ears_picked * facts.kernels_per_ear for tag, facts in field.facts.items())
    assert sum(state.kernels for state in states.values()) == pytest.approx(kernels, rel=0.1)


def test_slips_when_many_notes_are_taken_then_each_kind_comes_at_its_rate() -> None:
    drafts = [
        NoteDraft(str(at), 0, "W01", "pollinated", "cross", "F1", "M1", value="5", taken_local="2031-07-25T10:00:00")
        for at in range(10_000)
    ]
    blurred, mistakes = blur_drafts(1, drafts, ("M1", "M2"))
    assert sum(draft.sends == 2 for draft in blurred) == pytest.approx(300, abs=70)
    assert sum(bool(draft.replaces_key) for draft in blurred) == pytest.approx(150, abs=50)
    assert Counter(draft.doubt for draft in blurred)["count"] == pytest.approx(150, abs=50)
    assert len(mistakes) == pytest.approx(100, abs=40)
    assert {(mistake.noted, mistake.true) for mistake in mistakes} == {("M2", "M1")}


def test_correction_when_written_then_it_names_the_note_that_it_replaces() -> None:
    drafts = [
        NoteDraft(str(at), 0, "W01", "stand", tag=f"R{at}", value="20", taken_local="2031-06-04T08:00:00")
        for at in range(400)
    ]
    blurred, _ = blur_drafts(1, drafts, ())
    notes = write_notes(make_crew(1), blurred)
    ids = {note.id for note in notes}
    replacing = [note for note in notes if note.replaces]
    assert replacing
    assert all(note.replaces in ids and note.value == "20" for note in replacing)
    assert all(state.stand == 20 for state in read_row_states(notes).values())


def test_day_list_when_its_tasks_come_in_another_order_then_the_same_is_done(world: World) -> None:
    tasks = [CrewTask(tag, "sow") for tag in ("S1", "S0", "M0")]
    one, other = sow_field(world, _rows(world)), sow_field(world, _rows(world))
    assert answer_day_list(one, tasks, SOWN) == answer_day_list(other, tasks[::-1], SOWN)


def test_day_list_when_fewer_bags_are_asked_then_no_more_ears_can_be_made(world: World) -> None:
    field = sow_field(world, _rows(world))
    silk_on = field.facts["S0"].silk_on
    assert silk_on is not None
    answer_day_list(field, [CrewTask("S0", "shoot_bag", count=5)], silk_on - timedelta(days=6))
    for step in range(-4, 6):
        answer_day_list(field, [CrewTask("S0", "pollinate", males=("S0",))], silk_on + timedelta(days=step))
    assert 0 < field.progress["S0"].pollinated <= 5


def test_shoot_bags_when_put_on_after_silk_then_those_ears_are_lost(world: World) -> None:
    field = sow_field(world, _rows(world))
    silk_on = field.facts["S0"].silk_on
    assert silk_on is not None
    answer_day_list(field, [CrewTask("S0", "shoot_bag", count=30)], silk_on)
    out = field.facts["S0"].silking(silk_on)
    assert out > 5
    assert field.progress["S0"].shoot_bags == field.facts["S0"].stand - out


def test_day_list_when_nothing_was_bagged_then_nothing_is_pollinated(world: World) -> None:
    field = sow_field(world, _rows(world))
    silk_on = field.facts["F0"].silk_on
    assert silk_on is not None
    assert answer_day_list(field, [CrewTask("F0", "pollinate")], silk_on) == ()


def test_walk_when_a_row_is_wholly_noted_then_it_gives_no_more_notes(world: World) -> None:
    field = sow_field(world, _rows(world))
    kinds = [[draft.kind for draft in walk_day(field, day, ["S0"])] for day in (date(2031, 6, 20), date(2031, 8, 20))]
    assert kinds == [["shed_not_yet", "silk_not_yet"], ["shed", "silk"]]
    assert walk_day(field, date(2031, 8, 21), ["S0"]) == ()
    assert walk_day(field, date(2031, 8, 21)) == ()


def test_day_list_when_a_task_is_not_known_then_it_is_refused(world: World) -> None:
    field = sow_field(world, _rows(world))
    with pytest.raises(ValueError, match="dance"):
        answer_day_list(field, [CrewTask("S0", "dance")], SOWN)
    with pytest.raises(KeyError):
        answer_day_list(field, [CrewTask("NONE", "look")], SOWN)


def test_field_when_a_tag_is_there_twice_then_it_is_refused(world: World) -> None:
    row = FieldRow("A", "EK101", SOWN)
    with pytest.raises(ValueError, match="twice"):
        sow_field(world, [row, row])


def test_crew_when_devices_are_given_then_their_notes_carry_them(world: World) -> None:
    devices = ("0190a000-0000-7000-8000-000000000001", "0190a000-0000-7000-8000-000000000002")
    field = sow_field(world, _rows(world), phones=2)
    drafts = answer_day_list(field, [CrewTask(tag, "sow") for tag in field.rows], SOWN)
    notes = write_notes(make_crew(1, devices=devices), drafts)
    assert {note.device for note in notes} == set(devices)
    assert {note.worker for note in notes} == {"W01", "W02"}


def test_pace_when_measured_from_the_notes_then_it_is_that_of_the_workers(world: World, notes: list[Note]) -> None:
    timed = [
        TimedNote(
            note.worker,
            note.taken_on,
            (note.taken_at - note.taken_at.replace(hour=0, minute=0, second=0)).total_seconds() / 60,
            int(note.value) if note.kind == "pollinated" else 0,
        )
        for note in {note.id: note for note in notes}.values()
        if note.kind in ("pollinated", "spoiled")
    ]
    speed = measure_speed(gather_worker_days(timed), prior_days=1, beginner_days=0)
    truth = sum(60 / find_minutes_an_ear(world.seed, f"W{at:02d}") for at in range(1, 5)) / 4
    # Half a minute of writing comes to the 3.3 of each ear and more; workers spread by 12 %.
    assert speed.n_days >= 5
    assert 0.7 * truth < speed.per_hour < 1.1 * truth
