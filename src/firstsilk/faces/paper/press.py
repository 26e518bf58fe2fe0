"""How do values become PDF bytes, and do the codes on the finished sheet read back?

One font, shipped here; no font of the machine; a warning of Typst is an error. Data go in as JSON, never as markup, so
no name can break a page. The same values give the same bytes.
"""

from __future__ import annotations

import json
import tempfile
import zlib
from collections import Counter
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import typst
import zxingcpp

from firstsilk.answers import StationFault
from firstsilk.faces.paper.lettering import FONT_FOLDER

if TYPE_CHECKING:
    from numpy.typing import NDArray

SHEET_FOLDER = Path(__file__).parent / "sheets"
CHECK_DPI = 150


@cache
def _load_fonts() -> typst.Fonts:
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONT_FOLDER)])


def print_sheet(sheet: str, data: Mapping[str, object], tagged: bool = True) -> bytes:
    """Set one sheet of ours (``sheets/<sheet>.typ``) with data and return the PDF.

    Parameters
    ----------
    sheet
        Name of the sheet.
    data
        What the sheet reads from ``sys.inputs.data``; must be writable as JSON.
    tagged
        Write the reading order into the PDF, for screen readers.

    Raises
    ------
    StationFault
        If Typst fails or warns.
    """
    try:
        pdf, warnings = typst.compile_with_warnings(
            str(SHEET_FOLDER / f"{sheet}.typ"),
            root=str(SHEET_FOLDER),
            font_paths=_load_fonts(),
            ignore_system_fonts=True,
            sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
            format="pdf",
            timestamp=0,
            pdf_tags=tagged,
        )
    except typst.TypstError as error:
        raise StationFault(f"The sheet {sheet} could not be printed: {error}") from error
    if warnings:
        raise StationFault(f"The sheet {sheet} was printed with a warning: {warnings[0]}")
    assert isinstance(pdf, bytes)
    return pdf


def draw_code(signs: str) -> str:
    """A QR code, version 1, level H, as SVG text: 21 modules and the quiet zone of 4 modules on each side.

    Raises
    ------
    StationFault
        If the text does not fit version 1 at level H (10 capitals or digits).

    References
    ----------
    ISO/IEC 18004: capacity of version 1-H, quiet zone.
    """
    code = zxingcpp.create_barcode(signs, zxingcpp.BarcodeFormat.QRCode, ec_level="H")
    modules = np.asarray(code.to_image(scale=1, add_quiet_zones=False)) < 128
    if modules.shape != (21, 21):
        raise StationFault(f"{signs!r} does not fit the smallest code.")
    edges = np.diff(np.pad(modules, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    starts, ends = np.argwhere(edges == 1), np.argwhere(edges == -1)
    path = "".join(
        f"M{left + 4} {top + 4}h{right - left}v1h-{right - left}z"
        for (top, left), (_, right) in zip(starts.tolist(), ends.tolist(), strict=True)
    )
    return f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 29 29"><path d="{path}"/></svg>'


def picture_page(pdf: bytes, page: int, dpi: float = CHECK_DPI) -> NDArray[np.uint8]:
    """One page of a finished PDF as a grey picture (height, width); pages count from 1."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "print.pdf").write_bytes(pdf)
        try:
            png = typst.Compiler(
                b'#set page(width: auto, height: auto, margin: 0pt)\n#image("print.pdf", page: %d)' % page,
                root=folder,
                font_paths=_load_fonts(),
                ignore_system_fonts=True,
            ).compile(format="png", ppi=dpi)
        except typst.TypstError as error:
            raise StationFault(f"Page {page} of our own print could not be read: {error}") from error
    assert isinstance(png, bytes)
    return _read_png(png)


_STARTS = {b"\x89PNG": "png", b"\xff\xd8\xff": "jpg", b"GIF8": "gif", b"RIFF": "webp"}


def open_picture(picture: bytes, wide_px: int) -> NDArray[np.uint8] | None:
    """A photo or drawing (PNG, JPEG, GIF, WebP) as a picture (height, width) of that width; None if it is none."""
    kind = next((kind for start, kind in _STARTS.items() if picture.startswith(start)), None)
    if kind is None:
        return None
    sheet = f'#set page(width: auto, height: auto, margin: 0pt)\n#image("picture.{kind}", width: {wide_px}pt)'
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, f"picture.{kind}").write_bytes(picture)
        try:
            drawn = typst.Compiler(sheet.encode(), root=folder, ignore_system_fonts=True)
            png = drawn.compile(format="png", ppi=72)
        except typst.TypstError:
            return None
    assert isinstance(png, bytes)
    return _read_png(png)


def check_print(pdf: bytes, expected: Mapping[int, Sequence[str]]) -> None:
    """Read back the codes on some pages of a finished PDF.

    Parameters
    ----------
    pdf
        The whole document.
    expected
        For each page to be checked, from 1, the codes on it in any order.

    Raises
    ------
    StationFault
        If a page does not give exactly those codes.

    Notes
    -----
    The page is drawn by Typst from the PDF at 150 dpi and read by zxing-cpp.
    """
    for page, codes in expected.items():
        found = zxingcpp.read_barcodes(
            picture_page(pdf, page), formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode)
        )
        read = Counter(code.text for code in found)
        if read != Counter(codes):
            lost = ", ".join(sorted((Counter(codes) - read) | (read - Counter(codes))))
            raise StationFault(f"Page {page} of the print does not read back: {lost}. Nothing was released.")


def print_code_labels(sheet: str, data: Mapping[str, object], codes: Sequence[str], each: int) -> bytes:
    """Print labels with codes, so many on each sheet, and read a sample of the sheets back before they are released.

    Raises
    ------
    StationFault
        If the first, the middle or the last sheet does not read back.
    """
    pdf = print_sheet(sheet, data, tagged=False)
    sheets = [codes[at : at + each] for at in range(0, len(codes), each)]
    check_print(pdf, {number: sheets[number - 1] for number in choose_sample(len(sheets))})
    return pdf


def choose_sample(n_pages: int) -> tuple[int, ...]:
    """Which pages of a print are read back: the first, the middle and the last."""
    return tuple(sorted({1, (n_pages + 1) // 2, n_pages}))


def _read_png(png: bytes) -> NDArray[np.uint8]:
    """The red channel of an 8-bit RGBA picture without interlace, which is all that Typst writes."""
    position, packed, width, height = 8, b"", 0, 0
    while position < len(png):
        size = int.from_bytes(png[position : position + 4], "big")
        kind, body = png[position + 4 : position + 8], png[position + 8 : position + 8 + size]
        if kind == b"IHDR":
            width, height = int.from_bytes(body[:4], "big"), int.from_bytes(body[4:8], "big")
            if body[8:13] != b"\x08\x06\x00\x00\x00":
                raise StationFault("Typst drew a picture of an unexpected kind.")
        elif kind == b"IDAT":
            packed += body
        position += 12 + size
    raw = np.frombuffer(zlib.decompress(packed), np.uint8).reshape(height, 1 + 4 * width)
    picture = np.zeros((height + 1, width), np.uint8)
    for row in range(height):
        picture[row + 1] = _undo_filter(int(raw[row, 0]), raw[row, 1::4], picture[row])
    return picture[1:]


def _undo_filter(kind: int, coded: NDArray[np.uint8], above: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """One scan line of one channel (PNG specification, third edition, section 9)."""
    if kind == 0:
        return coded
    if kind == 1:
        return np.cumsum(coded, dtype=np.uint8)
    if kind == 2:
        return coded + above
    line, left, above_left = [], 0, 0
    for value, up in zip(coded.tolist(), above.tolist(), strict=True):
        if kind == 3:
            guess = (left + up) // 2
        else:
            to_left, to_up, to_both = abs(up - above_left), abs(left - above_left), abs(left + up - 2 * above_left)
            guess = left if to_left <= to_up and to_left <= to_both else up if to_up <= to_both else above_left
        left, above_left = (value + guess) & 255, up
        line.append(left)
    return np.array(line, np.uint8)
