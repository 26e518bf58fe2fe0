"""Do page and command of the audit show counts, filters and links to the records, and the documented exit code?"""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date, timedelta

import pytest
import typer

from firstsilk.answers import InputRefused
from firstsilk.faces.command import audit_year
from firstsilk.faces.command.audit_year import audit
from firstsilk.records.models import Line, Note, Row, Station
from firstsilk.science.seed.tags import tag_for_serial
from firstsilk.work.flowering.notes import NoteDraft, write_notes
from tests.factories import sign_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def broken(on):
    """The small station with a wrong generation and a stand of more plants than kernels."""
    Line.objects.filter(name="E3-1-4").update(generation="S5")
    # An hour after the books came in, which also tell a stand: the newest note counts.
    later = replace(on, now=on.now + timedelta(hours=1))
    write_notes(later, [NoteDraft("stand", Row.objects.get(number=2).tag, value="99")])
    Station.objects.update(held_date=on.today, is_invented=True)
    return on


def test_page_counts_and_leads_to_the_records(client, broken):
    sign_in(client, Station.objects.get(), "cooperator")
    page = client.get("/audit/").content.decode()
    assert "/lineage/line/E3-1-4/" in page
    assert f"/flowering/rows/{Row.objects.get(number=2).tag}/" in page
    assert 'href="?subject=lineage&amp;weight=cannot_be"' in page
    assert "Not judged: whether a person was there" in page


def test_page_when_filtered_shows_only_what_was_chosen(client, broken):
    sign_in(client, Station.objects.get(), "breeder")
    page = client.get("/audit/", {"subject": "lineage", "weight": "cannot_be"}).content.decode()
    assert "/lineage/line/E3-1-4/" in page
    assert "/flowering/rows/" not in page
    none = client.get("/audit/", {"code": "no_such_rule"}).content.decode()
    assert "Nothing of this choice" in none


def test_page_says_so_when_it_shows_a_part(client, broken, monkeypatch):
    monkeypatch.setattr("firstsilk.faces.pages.home.auditing.MOST_SHOWN", 1)
    sign_in(client, Station.objects.get(), "breeder")
    assert "The first 1 of" in client.get("/audit/").content.decode()


def test_page_when_not_signed_in_is_not_shown(client, broken):
    assert client.get("/audit/").status_code == 302


def test_command_gives_findings_and_ends_well_unless_told_to_stop(broken, monkeypatch, capsys):
    monkeypatch.setattr(audit_year, "open_books", lambda station, today: broken)
    audit(subject="lineage", as_json=True)
    told = json.loads(capsys.readouterr().out)
    assert [row["code"] for row in told["rows"]] == ["generation_not_next"]
    assert told["rows"][0]["record"] == "E3-1-4"
    assert told["looked_at"]["lines"] == 5
    assert told["not_judged"]
    with pytest.raises(typer.Exit) as end:
        audit(stop_at="cannot_be")
    assert end.value.exit_code == 1
    assert capsys.readouterr().out.startswith("subject,weight,code,record,where,value,message,repair\n")


def test_command_when_nothing_so_heavy_is_found_then_it_ends_well(on, monkeypatch, capsys):
    monkeypatch.setattr(audit_year, "open_books", lambda station, today: replace(on, today=date(2031, 10, 1)))
    audit(stop_at="cannot_be")
    assert "0 cannot be" in capsys.readouterr().err


def test_command_refuses_a_word_it_does_not_know():
    with pytest.raises(InputRefused, match="subject"):
        audit(subject="weather")


def test_a_note_is_called_by_its_device_and_number_and_leads_to_its_place_never_by_its_id(
    on, client, monkeypatch, capsys
):
    later = replace(on, today=date(2031, 10, 20))
    row = Row.objects.get(number=2)
    write_notes(later, [NoteDraft("pollinated", row.tag, detail="self", value="2", taken_local="2031-06-01T10:00:00")])
    write_notes(later, [NoteDraft("stand", tag_for_serial(987_654), value="4")])
    stray, odd = Note.objects.order_by("-position")[:2]
    sign_in(client, Station.objects.get(), "technician")
    text = client.get("/audit/?day=2031-10-20").content.decode()
    called = f"desk 1, note {odd.device_number}</a>"
    assert f'href="/flowering/rows/{row.tag}/#note-{odd.uuid}">{called}' in text
    assert f'?before={stray.position + 1}#note-{stray.uuid}">desk 1, note {stray.device_number}</a>' in text
    assert f">{odd.uuid}" not in text
    assert f'id="note-{odd.uuid}"' in client.get(f"/flowering/rows/{row.tag}/?day=2031-10-20").content.decode()
    monkeypatch.setattr(audit_year, "open_books", lambda station, today: later)
    audit(out="-")
    said = capsys.readouterr().out
    assert f"desk 1, note {stray.device_number}" in said
    assert str(odd.uuid) not in said
