"""Do notes of the seed room become movements, and are they undone when they are taken back?"""

from __future__ import annotations

from datetime import date

import pytest

from firstsilk.answers import InputRefused
from firstsilk.faces.command.main import run
from firstsilk.records.models import Movement, Note
from firstsilk.work.audit import audit_books
from firstsilk.work.flowering.notes import NoteDraft, take_back, write_notes
from firstsilk.work.home import list_due
from firstsilk.work.seed.lot_notes import settle_lot_notes, write_lot_note
from firstsilk.work.seed.lots import move_seed, read_lot
from tests.factories import make_line, make_lot, make_station, occasion, sign_in

pytestmark = pytest.mark.django_db
ON = occasion(date(2031, 11, 5))


@pytest.fixture
def station():
    return make_station()


@pytest.fixture
def lot(station):
    return make_lot(make_line(station, "E1"), kernels=500, kernel_weight_mg=250.0)


def _note(lot, kind, value="", day="2031-11-03", hour="10", **more):
    return write_notes(ON, [NoteDraft(kind, lot.tag, value, taken_local=f"{day}T{hour}:00:00", **more)], "file")[0]


def _left(lot):
    return read_lot(ON, lot.tag).stock.kernels


def test_notes_wait_are_told_and_move_kernels_once_booked(lot):
    _note(lot, "taken", "40", worker="W7")
    _note(lot, "weighed", "110", hour="12")  # 440 kernels of 250 mg
    assert _left(lot) == 500
    assert "with them the lot holds 440 kernels" in " ".join(read_lot(ON, lot.tag).cautions)
    assert "lots whose notes are not booked" in [one.title for one in list_due(ON).tasks]
    done = settle_lot_notes(ON)
    assert [(one.kernels, one.reason, one.says) for one in done.unbooked] == [
        (-40, "sent", "taken: 40 kernels, noted by W7"),
        (-20, "counted", "weighed: 110 g, noted by tests"),
    ]
    assert _left(lot) == 440
    assert "lots whose notes are not booked" not in [one.title for one in list_due(ON).tasks]
    assert settle_lot_notes(ON).unbooked == ()


def test_a_note_taken_back_or_corrected_is_undone_by_a_counter_movement(lot):
    wrong, kept = _note(lot, "taken", "40"), _note(lot, "taken", "60", hour="11")
    settle_lot_notes(ON)
    take_back(ON, wrong, "another lot")
    _note(lot, "taken", "66", hour="11", replaces=kept)
    settle_lot_notes(ON)
    assert _left(lot) == 434
    moved = list(Movement.objects.filter(note__isnull=False).order_by("pk").values_list("kernels", flat=True))
    assert (moved[:2], sorted(moved[2:])) == ([-40, -60], [-66, 40, 60])


def test_a_lot_that_notes_overdraw_is_told_in_the_audit_and_on_its_page_booked_or_not(lot):
    _note(lot, "taken", "520")
    for _ in range(2):
        odd = [one.finding for one in audit_books(ON).found if one.finding.code == "lot_overdrawn"]
        assert [one.value for one in odd] == ["-20"]
        assert any("count" in one for one in read_lot(ON, lot.tag).cautions)
        settle_lot_notes(ON)
    assert _left(lot) == -20
    with pytest.raises(InputRefused):
        move_seed(ON, lot.tag, 1, "sent")


def test_a_lot_thrown_away_is_empty_and_its_note_of_a_later_day_waits_for_that_day(lot):
    _note(lot, "discarded", "mouse")
    _note(lot, "taken", "10", day="2031-11-09")
    settle_lot_notes(ON)
    assert _left(lot) == 0


def test_a_note_that_says_nothing_to_book_is_a_finding_and_is_kept(station, lot):
    bare = make_lot(make_line(station, "E2"))
    _note(lot, "taken", "a handful")
    _note(bare, "weighed", "100", hour="12")
    found = settle_lot_notes(ON)
    assert found.unbooked == ()
    assert [one.code for one in found.findings] == ["lot_note_unread"] * 2
    assert "the weight of a kernel of this lot is not known" in found.findings[1].message
    assert Note.objects.count() == 2


def test_what_was_done_away_from_the_desk_is_keyed_back_and_booked_at_once(lot):
    said, done = write_lot_note(ON, "taken", "E1-30", "25", date(2031, 11, 1), "W3")
    assert said == "lot E1-30, 25 kernels taken, 2031-11-01"
    assert [one.kernels for one in done.unbooked] == [-25]
    assert Note.objects.get().source == "paper"
    for wrong in (("eaten", "5"), ("taken", "0"), ("taken", "2.5"), ("taken", "many"), ("weighed", "-1")):
        with pytest.raises(InputRefused):
            write_lot_note(ON, wrong[0], lot.tag, wrong[1])
    with pytest.raises(InputRefused, match="after today"):
        write_lot_note(ON, "taken", lot.tag, "5", date(2031, 12, 1))
    assert Note.objects.count() == 1


def test_from_the_pages_notes_are_booked_and_keyed_back_by_the_desk_alone(client, station, lot):
    _note(lot, "taken", "30")
    sign_in(client, station, "technician")
    assert "Book 1 movement" in client.get("/seed/store/?day=2031-11-05").content.decode()
    answer = client.post("/seed/store/?day=2031-11-05", {"book_notes": "1"}, follow=True)
    assert "1 movements of 1 lots are booked" in answer.content.decode()
    sent = {"reason": "happened", "kind": "taken", "value": "480", "taken_on": "2031-11-04", "worker": "W1"}
    answer = client.post(f"/seed/lots/{lot.tag}/?day=2031-11-05", sent, follow=True)
    assert "Noted: lot E1-30, 480 kernels taken" in answer.content.decode()
    assert "10 kernels more were taken than it held" in answer.content.decode()
    sign_in(client, station, "cooperator")
    assert client.post("/seed/store/", {"book_notes": "1"}).status_code == 403
    assert client.post(f"/seed/lots/{lot.tag}/", sent).status_code == 403


def test_the_commands_list_book_and_key_back(station, lot, capsys):
    _note(lot, "taken", "30")
    assert run(["seed-notes", "--today", "2031-11-05"]) == 0
    assert "1 movement to book" in capsys.readouterr().err
    assert run(["seed-notes", "--book", "--today", "2031-11-05"]) == 0
    assert run(["lot-note", "weighed", "E1-30", "100", "--today", "2031-11-05"]) == 0
    assert _left(lot) == 400
    assert run(["lot-note", "weighed", "E1-30", "heavy", "--today", "2031-11-05"]) == 1
    assert "Write grams" in capsys.readouterr().err
