"""A phone's film comes in from pictures, by command and by page, once and whole; what is missing is named."""

from __future__ import annotations

import json
import zlib
from io import BytesIO
from pathlib import Path

import pytest
import zxingcpp
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from firstsilk.records.models import Note
from firstsilk.science.flowering.film import COLUMNS, MARK, encode_base45
from tests.faces.calling import call
from tests.factories import sign_in
from tests.work.station_books import make_station, make_wire

pytestmark = pytest.mark.django_db

DAY = ("--today", "2031-07-14")
PIECE = 120


def make_film(*wires: dict[str, object]) -> list[str]:
    """The frames of a film, by a way of its own: the phone's is in another language."""
    packing = zlib.compressobj(9, zlib.DEFLATED, -zlib.MAX_WBITS)
    columns = json.dumps([[wire[name] for wire in wires] for name in COLUMNS], ensure_ascii=False).encode()
    packed = packing.compress(columns) + packing.flush()
    pieces = [packed[start : start + PIECE] for start in range(0, len(packed), PIECE)]
    heads = [
        zlib.crc32(packed).to_bytes(4, "big")
        + place.to_bytes(2, "big")
        + len(pieces).to_bytes(2, "big")
        + zlib.crc32(piece).to_bytes(4, "big")
        for place, piece in enumerate(pieces)
    ]
    return [MARK + encode_base45(head + piece) for head, piece in zip(heads, pieces, strict=True)]


def draw(frame: str, kind: str = "PNG") -> bytes:
    picture = BytesIO()
    code = zxingcpp.create_barcode(frame, zxingcpp.BarcodeFormat.QRCode, ec_level="M")
    Image.fromarray(code.to_image(scale=4, add_quiet_zones=True)).convert("RGB").save(picture, kind)
    return picture.getvalue()


def test_film_is_brought_once_from_a_folder_of_pictures(tmp_path: Path, capsys) -> None:
    make_station()
    frames = make_film(make_wire(1), make_wire(2), make_wire(3, value="7"))
    assert len(frames) > 1
    for at, frame in enumerate(reversed(frames)):
        (tmp_path / f"{at}.jpg").write_bytes(draw(frame, "JPEG"))
    (tmp_path / "written by hand.txt").write_text("no picture")
    assert call(capsys, "bring-notes", tmp_path, *DAY)[::2] == (
        0,
        "3 notes are new in the books, 0 were there already.\n",
    )
    assert "0 notes are new" in call(capsys, "bring-notes", tmp_path, *DAY)[2]
    assert Note.objects.count() == 3


def test_film_with_a_code_on_no_picture_brings_nothing_and_names_it(tmp_path: Path, capsys) -> None:
    make_station()
    frames = make_film(make_wire(1), make_wire(2))
    for at, frame in enumerate(frames[:-1]):
        (tmp_path / f"{at}.png").write_bytes(draw(frame))
    code, _, told = call(capsys, "bring-notes", tmp_path, *DAY)
    assert code == 1
    assert f"1 of {len(frames)} codes of a film are on no picture: {len(frames)}. Take pictures of these too." in told
    assert Note.objects.count() == 0


def test_film_is_brought_by_the_page_of_phones(client) -> None:
    sign_in(client, make_station(), "crew_leader")
    files = [SimpleUploadedFile(f"{at}.png", draw(frame)) for at, frame in enumerate(make_film(make_wire(1)))]
    answer = client.post("/flowering/phones/", {"notes": files}, follow=True)
    assert "1 note is new in the books" in answer.content.decode()
    files = [SimpleUploadedFile("wall.png", b"no picture at all")]
    assert "this picture cannot be opened" in client.post("/flowering/phones/", {"notes": files}).content.decode()
