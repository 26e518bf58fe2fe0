"""Do an invented crew's evening and harvest tell what happened: bags looked at, hours, ears, crates, kernels?"""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from firstsilk.invented.crew import make_crew, write_notes
from firstsilk.invented.drafts import NoteDraft
from firstsilk.invented.harvesting import crate_ears, measure_crate, pick_ears, shell_ears
from firstsilk.invented.leader import count_hours, look_again
from firstsilk.invented.people import CREW, LEADER, find_worker
from firstsilk.invented.season import CrewTask, Field, FieldRow, answer_day_list, sow_field
from firstsilk.invented.world import World, build_world
from firstsilk.science.flowering.crates import READY_PCT
from firstsilk.science.flowering.harvest import count_ears
from firstsilk.science.flowering.notes import KINDS
from firstsilk.science.flowering.rows import keep_standing_notes
from firstsilk.science.seed.tags import tag_for_serial

pytestmark = pytest.mark.xdist_group("invented_season")

SOWN, DAY, AUTUMN = date(2031, 5, 14), date(2031, 7, 21), date(2031, 9, 20)
TAGS = tuple(f"S{at}" for at in range(30))


@pytest.fixture(scope="module")
def world() -> World:
    return build_world(1)


def make_field(world: World) -> Field:
    """Thirty selfed rows, of which every second has four ears with a number, none spoiled."""
    lines = world.book.inbreds()[: len(TAGS)]
    rows = [FieldRow(tag, line.name, SOWN, "self", 25) for tag, line in zip(TAGS, lines, strict=True)]
    field = sow_field(world, rows)
    for at, tag in enumerate(TAGS):
        field.progress[tag].sown, field.progress[tag].pollinated = True, 10
        field.progress[tag].codes = [tag_for_serial(1000 + 10 * at + one) for one in range(4 * (at % 2))]
    return field


def pollinations(field: Field) -> list[NoteDraft]:
    drafts = []
    for at, tag in enumerate(TAGS):
        worker, phone = f"W{at % 4 + 1:02d}", at % 4
        told = {"kind": "pollinated", "detail": "self", "tag": tag, "taken_local": f"{DAY}T10:{at:02d}:00"}
        codes = field.progress[tag].codes
        drafts += [NoteDraft(f"{tag}{code}", phone, worker, value="1", bag=code, **told) for code in codes]
        drafts.append(NoteDraft(tag, phone, worker, value=str(10 - len(codes)), **told))
    return drafts


def test_bags_looked_at_are_as_often_open_as_whoever_closed_them_leaves_them(world: World) -> None:
    field, seen = make_field(world), {one.code: [0, 0] for one in CREW}
    for step in range(40):
        made = [NoteDraft(f"{step}{one.key}", **_without_key(one)) for one in pollinations(field)]
        who = {(one.tag, one.bag): one.worker for one in made}
        for tag in TAGS:
            field.progress[tag].spoiled = 0
        for one in look_again(field, made, DAY + timedelta(days=step)):
            if one.kind == "rechecked":
                seen[who[one.tag, one.bag]][0] += int(one.value)
                seen[who[one.tag, one.bag]][1] += int(one.value) * (one.detail == "bag_open")
    for code in ("W01", "W02", "W03", "W04"):
        looked, was_open = seen[code]
        share = find_worker(code).open_frac
        assert looked > 500
        assert abs(was_open - share * looked) < 4 * (share * looked) ** 0.5
    assert find_worker("W03").open_frac > 5 * find_worker("W01").open_frac


def _without_key(one: NoteDraft) -> dict[str, object]:
    return {name: getattr(one, name) for name in one.__dataclass_fields__ if name != "key"}


def test_what_the_leader_notes_as_lost_is_lost_and_no_more_than_was_found(world: World) -> None:
    field = make_field(world)
    drafts = look_again(field, pollinations(field), DAY)
    assert {one.worker for one in drafts} == {LEADER.code}
    assert {one.phone for one in drafts} == {LEADER.phone}
    assert all(one.detail in KINDS[one.kind].details for one in drafts)
    lost = {tag: sum(int(one.value) for one in drafts if one.tag == tag and one.kind == "spoiled") for tag in TAGS}
    bad = {
        tag: sum(
            int(one.value) for one in drafts if one.tag == tag and one.kind == "rechecked" and one.detail != "well"
        )
        for tag in TAGS
    }
    assert lost == {tag: field.progress[tag].spoiled for tag in TAGS}
    assert 0 < sum(lost.values()) <= sum(bad.values())
    gone = {one.bag for one in drafts if one.kind == "spoiled" and one.bag}
    assert not gone & {code for tag in TAGS for code in field.progress[tag].codes}


def test_hours_are_those_between_notes_without_long_gaps_by_quarters() -> None:
    def at(clock: str, worker: str = "W01") -> NoteDraft:
        return NoteDraft(clock + worker, 0, worker, "stand", tag="R", value="1", taken_local=f"{DAY}T{clock}:00")

    hours = count_hours([at("07:30"), at("08:00"), at("08:40"), at("14:00"), at("09:00", "W02")], DAY)
    # Half an hour of way, 30 + 40 minutes, and of the long gap 45.
    assert [(one.worker, one.value, one.kind, one.tag) for one in hours] == [
        ("W01", "2.5", "worked", ""),
        ("W02", "0.5", "worked", ""),
    ]
    assert hours[0].taken_local == f"{DAY}T14:05:00"
    assert count_hours([], DAY) == ()


def test_ears_picked_left_and_forgotten_are_the_ears_that_stand(world: World) -> None:
    field, other = make_field(world), make_field(world)
    drafts = pick_ears(field, TAGS, AUTUMN)
    answer_day_list(other, [CrewTask(tag, "pick") for tag in TAGS], AUTUMN)
    assert {tag: one.picked for tag, one in field.progress.items()} == {
        tag: one.picked for tag, one in other.progress.items()
    }
    counts = count_ears(keep_standing_notes(write_notes(make_crew(1), drafts))[0])
    forgotten = 0
    for tag in TAGS:
        total = counts[tag].total
        assert total.picked == field.progress[tag].picked
        assert total.picked + total.ears_left <= 10
        forgotten += 10 - total.picked - total.ears_left
        assert {one.bag for one in counts[tag].bags if one.picked} == set(field.progress[tag].codes)
    assert 0 <= forgotten < 8
    assert all(why in KINDS["ears_left"].details for tag in TAGS for why, _ in counts[tag].total.left)
    assert pick_ears(field, TAGS, AUTUMN + timedelta(days=4)) == ()


def test_every_good_ear_goes_into_the_crate_of_its_row_and_dries_there(world: World) -> None:
    field = make_field(world)
    pick_ears(field, TAGS, AUTUMN)
    crate = tag_for_serial(77)
    drafts = crate_ears(field, dict.fromkeys(TAGS, crate), AUTUMN)
    numbered = {one.bag for one in drafts if one.bag}
    assert numbered == {code for tag in TAGS for code in field.progress[tag].codes}
    loose = {tag for tag in TAGS if (field.progress[tag].picked or 0) > len(field.progress[tag].codes)}
    assert {one.tag for one in drafts if not one.bag} == loose
    assert {one.value for one in drafts} == {crate}
    told = [measure_crate(1, crate, days) for days in (0, 4, 8, 12)]
    assert told == sorted(told, reverse=True)
    assert told[0] > 20 > READY_PCT >= told[-1]


def test_ears_shelled_one_by_one_give_as_many_kernels_as_the_row_at_once(world: World) -> None:
    field, other = make_field(world), make_field(world)
    for one in (field, other):
        pick_ears(one, TAGS, AUTUMN)
    day = AUTUMN + timedelta(days=12)
    answer_day_list(other, [CrewTask(tag, "shell") for tag in TAGS if other.progress[tag].picked], day)
    for tag in TAGS:
        if field.progress[tag].picked:
            by_code, loose = shell_ears(field, tag, day)
            assert set(by_code) == set(field.progress[tag].codes)
            assert sum(by_code.values()) + loose == other.progress[tag].kernels == field.progress[tag].kernels
            assert all(kernels > 0 for kernels in by_code.values())


def test_a_phone_with_a_wrong_clock_writes_that_clock_on_the_same_day() -> None:
    drafts = [
        NoteDraft(f"K{at}", at, "W01", "stand", tag="R", value="1", taken_local=f"{DAY}T10:00:00") for at in (0, 1)
    ]
    right, late = write_notes(make_crew(1, 2, ahead_s=(0, -660)), drafts)
    assert (right.taken_local, late.taken_local) == (f"{DAY}T10:00:00", f"{DAY}T09:49:00")


def test_codes_of_people_are_codes_and_each_phone_has_one(world: World) -> None:
    phones = [one.phone for one in (*CREW, LEADER) if one.phone is not None]
    assert sorted(phones) == list(range(5))
    assert len({one.code for one in (*CREW, LEADER)}) == len(CREW) + 1
    with pytest.raises(KeyError):
        find_worker("W99")
