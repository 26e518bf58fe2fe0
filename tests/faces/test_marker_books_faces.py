"""Do the pages and commands bring markers, judge them, set a sample aside, foretell lines, and keep a bad file out?"""

from __future__ import annotations

import gzip
import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from firstsilk.answers import InputRefused
from firstsilk.faces.command.main import run
from firstsilk.faces.files.guard import check_marker_upload
from firstsilk.faces.files.marker_sheets import give_markers, sheet_from_bytes
from firstsilk.faces.files.markers import markers_from_bytes
from firstsilk.faces.pages.lineage.foretelling import _tell_trust
from firstsilk.invented.markers import list_markers, write_variants
from firstsilk.records.models import MarkerPanel, MarkerSample
from firstsilk.work.accounts import add_account
from tests.work.marker_station import bring_lines, invented_samples

PASSWORD = "long enough for a test"  # one for all accounts of these tests
TABLE = b"line,m1,m2,m3\nE1,0,1,2\nE2,2,,0\n"
VCF = (
    b"##fileformat=VCFv4.2\n#CHROM\tPOS\tID\tREF\tALT\tQUAL\tFILTER\tINFO\tFORMAT\tleaf 1\tleaf 2\n"
    b"1\t100\tm1\tA\tG\t.\t.\t.\tGT\t0/0\t0/1\n2\t900\t.\tC\tT\t.\t.\t.\tGT\t1/1\t./.\n"
)


@pytest.fixture(autouse=True)
def _static_folder(settings, tmp_path):
    settings.STATIC_ROOT = tmp_path


@pytest.fixture
def sign_in(on, client):
    def as_role(role):
        add_account(on, role, PASSWORD, role)
        assert client.login(username=role, password=PASSWORD)
        return client

    return as_role


def send(client, content=TABLE, name="chip.csv", panel="chip", **beside):
    files = {key: SimpleUploadedFile(f"{key}.csv", text) for key, text in beside.items()}
    asked = {"do": "bring", "panel": panel, "markers": SimpleUploadedFile(name, content), **files}
    return client.post("/lineage/markers/", asked)


def test_markers_brought_on_the_page_are_shown_there_and_on_the_line(on, sign_in):
    client = sign_in("technician")
    assert "No markers are in the books yet" in client.get("/lineage/markers/").content.decode()
    assert "<h2>Markers</h2>" not in client.get("/lineage/line/E1/").content.decode()
    assert send(client)["Location"] == "/lineage/markers/?panel=chip"
    text = client.get("/lineage/markers/").content.decode()
    assert "Panel chip: 3 markers" in text
    assert 'href="/lineage/line/E2/"' in text
    assert "<h2>Markers</h2>" in client.get("/lineage/line/E1/").content.decode()


def test_a_vcf_with_a_sheet_names_lines_and_places(on, sign_in):
    sheet = b"sample,line,lot,sampled_on\nleaf 1,E1,E1-30,2020-06-20\nleaf 2,E2,,\n"
    answer = send(sign_in("breeder"), VCF, "chip.vcf", sheet=sheet)
    assert answer.status_code == 302, answer.content.decode()
    panel = MarkerPanel.objects.get()
    assert (panel.markers, panel.chromosomes, panel.positions_bp) == (["m1", "2_900"], ["1", "2"], [100, 900])
    sample = MarkerSample.objects.get(name="leaf 1")
    assert (sample.line.name, sample.lot.name, str(sample.sampled_on)) == ("E1", "E1-30", "2020-06-20")


@pytest.mark.parametrize(
    ("content", "name", "sheet", "told"),
    [
        (b"line,m1\nE1,7\n", "bad.csv", b"", "bad.csv, line 2, column m1"),
        (b"line,m1\nE1,1\nnobody,0\n", "bad.csv", b"", "bad.csv, line 3, column line"),
        (VCF, "chip.vcf", b"", "chip.vcf, line 2, column leaf 1"),
        (VCF, "chip.vcf", b"sample,line\nleaf 1,E1\nleaf 9,E2\n", "sheet.csv, line 3, column sample"),
        (VCF, "chip.vcf", b"sample,line\nleaf 1,E1\nleaf 2,E77\n", "sheet.csv, line 3, column line"),
        (VCF, "chip.vcf", b"sample,sampled_on\nleaf 1,soon\n", "sheet.csv, line 2, column sampled_on"),
        (VCF, "chip.vcf", b"sample,plot\nleaf 1,9\n", "sheet.csv, line 1, column plot"),
        (VCF, "chip.doc", b"", "a file of this kind is not read"),
        (b"\x1f\x8bnothing", "chip.vcf.gz", b"", "broken or cut short"),
    ],
)
def test_a_bad_file_is_refused_with_its_place_and_nothing_is_stored(on, sign_in, content, name, sheet, told):
    answer = send(sign_in("breeder"), content, name, **({"sheet": sheet} if sheet else {}))
    assert answer.status_code == 422
    assert told in answer.content.decode()
    assert not MarkerSample.objects.exists()


def test_a_packed_file_that_unfolds_out_of_all_proportion_is_refused():
    with pytest.raises(InputRefused, match="out of all proportion"):
        check_marker_upload(gzip.compress(b"0" * 30_000_000), "trap.vcf.gz")
    check_marker_upload(gzip.compress(VCF), "chip.vcf.gz")
    assert markers_from_bytes(gzip.compress(VCF), "chip.vcf.gz").loci == (("1", 100), ("2", 900))


def test_a_map_beside_a_table_gives_places_and_a_wrong_one_is_refused():
    read = markers_from_bytes(TABLE, "chip.csv")
    given = give_markers(read, None, sheet_from_bytes(b"marker,chromosome,position_bp\nm2,4,77\n", "map.csv"))
    assert given.loci == (("", 0), ("4", 77), ("", 0))
    with pytest.raises(InputRefused, match=r"map\.csv, line 2, column position_bp"):
        give_markers(read, None, sheet_from_bytes(b"marker,chromosome,position_bp\nm2,4,-7\n", "map.csv"))


def test_only_the_desk_brings_markers_and_sets_samples_aside(on, sign_in):
    client = sign_in("crew_leader")
    assert "Bring them in" not in client.get("/lineage/markers/").content.decode()
    assert send(client).status_code == 403
    assert client.post("/lineage/untested/", {"trait": "moisture_pct"}).status_code == 403


def test_a_sample_is_set_aside_on_the_page_and_a_reason_is_wanted(on, sign_in):
    client = sign_in("breeder")
    send(client)
    asked = {"do": "aside", "panel": "chip", "sample": "E2", "reason": ""}
    assert client.post("/lineage/markers/", asked).status_code == 422
    assert client.post("/lineage/markers/", asked | {"reason": "wrong leaf"}).status_code == 302
    assert "wrong leaf" in client.get("/lineage/markers/").content.decode()


def test_the_untested_page_asks_for_a_job_and_refuses_an_unknown_trait(on, sign_in):
    client = sign_in("breeder")
    assert "Nothing is foretold" in client.get("/lineage/untested/").content.decode()
    assert client.get("/lineage/untested/?trait=height").status_code == 422
    assert client.post("/lineage/untested/", {"trait": "moisture_pct"})["Location"].startswith("/jobs/")


def test_a_family_is_told_why_without_its_name_and_count_once_more():
    words = "Family A x B, 3 untested: no family had enough tested lines. Tested relatives: 4, of the family itself 1."
    told = _tell_trust({"family": "A x B", "untested": 3, "words": words, "trust": "not_measured"})
    assert told == (
        "not measured",
        "No family had enough tested lines. Tested relatives: 4, of the family itself 1.",
    )


@pytest.mark.django_db
def test_the_commands_bring_check_and_set_aside(tmp_path, capsys):
    bring_lines()
    file, sheet = tmp_path / "chip.vcf", tmp_path / "sheet.csv"
    file.write_text(write_variants(invented_samples()))
    sheet.write_text("sample,line\n" + "".join(f"{one.name},{one.line}\n" for one in invented_samples()))
    bring = ["bring-markers", str(file), "--panel", "chip", "--sheet", str(sheet)]
    assert run(bring) == 0
    assert (
        f"New panel chip, {len(list_markers())} markers: {len(invented_samples())} samples" in capsys.readouterr().out
    )
    assert run([*bring, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["new"] == 0
    assert run(["marker-checks", "--verdict", "disagrees", "--json"]) == 0
    refuted = {row["line"] for row in json.loads(capsys.readouterr().out)["rows"]}
    assert {"EK207", "EK211", "HM205", "HM304"} <= refuted
    assert run(["sample-aside", "HM205 again", "--reason", "leaf of HM209"]) == 0
    assert "HM205 counts no longer" in capsys.readouterr().out
    assert run(["marker-checks", "HM205", "--samples", "--json"]) == 0
    assert [row["sample"] for row in json.loads(capsys.readouterr().out)["rows"]] == ["HM205"]
    assert run(["marker-checks", "--verdict", "perhaps"]) == 1
    assert "There is no verdict 'perhaps'" in capsys.readouterr().err
    assert run(["predict-untested"]) == 1
    assert "There is no analysis" in capsys.readouterr().err
