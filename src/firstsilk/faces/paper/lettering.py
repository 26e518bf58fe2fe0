"""Which signs can our printed font show, how wide is a text, and how is it made to fit?

Typst prints an empty box for a sign that the font lacks, without a warning, so two names could look alike on paper.
We read the font's own tables (OpenType ``cmap`` and ``hmtx``) and refuse such a sign before printing.
"""

from __future__ import annotations

import struct
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from firstsilk.answers import Finding, Place, stop_if_any

FONT_FOLDER = Path(__file__).parent / "fonts"
FONT_FILES = {False: "OpenSansSemiCondensed-Regular.ttf", True: "OpenSansSemiCondensed-Bold.ttf"}
MM_PER_POINT = 25.4 / 72
ELLIPSIS = "…"


@dataclass(frozen=True, slots=True)
class Lettering:
    """Advance width of every sign that one font file can show, as a share of the type size."""

    width_em: dict[int, float]

    def measure_mm(self, text: str, size_pt: float) -> float:
        """Width of a text [mm] at a type size [pt]; kerning is left out, which only makes it a little wider."""
        return sum(self.width_em.get(ord(sign), 1.0) for sign in text) * size_pt * MM_PER_POINT


@cache
def read_lettering(bold: bool = False) -> Lettering:
    """Read which signs the shipped font holds and how wide each is."""
    data = (FONT_FOLDER / FONT_FILES[bold]).read_bytes()
    n_tables = struct.unpack_from(">H", data, 4)[0]
    entries = [struct.unpack_from(">4sIII", data, 12 + 16 * at) for at in range(n_tables)]
    start = {name.decode("latin-1"): offset for name, _, offset, _ in entries}
    per_em = struct.unpack_from(">H", data, start["head"] + 18)[0]
    n_widths = struct.unpack_from(">H", data, start["hhea"] + 34)[0]

    def advance(glyph: int) -> float:
        width = int(struct.unpack_from(">H", data, start["hmtx"] + 4 * min(glyph, n_widths - 1))[0])
        return width / int(per_em)

    return Lettering({sign: advance(glyph) for sign, glyph in _read_cmap(data, start["cmap"]).items()})


def _read_cmap(data: bytes, start: int) -> dict[int, int]:
    """Glyph of each code point, from the font's format 4 subtable for Unicode (Windows platform, encoding 1)."""
    n_subtables = struct.unpack_from(">H", data, start + 2)[0]
    records = [struct.unpack_from(">HHI", data, start + 4 + 8 * at) for at in range(n_subtables)]
    base = start + next(offset for platform, encoding, offset in records if (platform, encoding) == (3, 1))
    n = struct.unpack_from(">H", data, base + 6)[0] // 2
    ends = struct.unpack_from(f">{n}H", data, base + 14)
    starts = struct.unpack_from(f">{n}H", data, base + 16 + 2 * n)
    deltas = struct.unpack_from(f">{n}H", data, base + 16 + 4 * n)
    ranges_at = base + 16 + 6 * n
    offsets = struct.unpack_from(f">{n}H", data, ranges_at)
    glyphs: dict[int, int] = {}
    for at in range(n):
        for sign in range(starts[at], min(ends[at], 0xFFFE) + 1):
            glyph = sign
            if offsets[at]:
                glyph = struct.unpack_from(">H", data, ranges_at + 2 * at + offsets[at] + 2 * (sign - starts[at]))[0]
            if glyph or not offsets[at]:
                glyph = (glyph + deltas[at]) & 0xFFFF
            if glyph:
                glyphs[sign] = glyph
    return glyphs


def clean_text(text: str) -> str:
    """A text on one line, blanks joined, accents joined to their letters (Unicode NFC)."""
    return " ".join(unicodedata.normalize("NFC", text).split())


def check_lettering(texts: Iterable[tuple[str, str]]) -> None:
    """Refuse signs that the printed font does not hold.

    Parameters
    ----------
    texts
        Pairs of a place in words (``row 0413, line``) and the text to be printed there.

    Raises
    ------
    InputRefused
        One finding for each text that holds such a sign.
    """
    regular, bold = read_lettering().width_em, read_lettering(bold=True).width_em
    findings = []
    seen: set[str] = set()
    for where, text in texts:
        if text in seen:
            continue
        seen.add(text)
        missing = sorted({sign for sign in clean_text(text) if ord(sign) not in regular or ord(sign) not in bold})
        if missing:
            message = f"{where}: the printed font cannot show {' '.join(missing)}"
            findings.append(Finding("sign_not_printable", message, Place(), text, "Write the name in other letters"))
    stop_if_any(findings)


def cut_text(text: str, width_mm: float, size_pt: float, bold: bool = False) -> str:
    """The text if it fits a width [mm] at a type size [pt], else as much of it as fits with an ellipsis."""
    lettering = read_lettering(bold)
    text = clean_text(text)
    if lettering.measure_mm(text, size_pt) <= width_mm:
        return text
    while text and lettering.measure_mm(text + ELLIPSIS, size_pt) > width_mm:
        text = text[:-1].rstrip()
    return text + ELLIPSIS


def fit_text(text: str, width_mm: float, sizes_pt: Iterable[float], bold: bool = False) -> tuple[str, float]:
    """The text at the first of falling type sizes [pt] at which it fits a width [mm]; cut at the last one if none."""
    size_pt = 0.0
    for size_pt in sizes_pt:
        if read_lettering(bold).measure_mm(clean_text(text), size_pt) <= width_mm:
            break
    return cut_text(text, width_mm, size_pt, bold), size_pt


def wrap_text(text: str, width_mm: float, size_pt: float, bold: bool = False) -> list[str] | None:
    """The text broken at blanks into lines of a width [mm], or None if one word is too wide."""
    lettering = read_lettering(bold)
    lines: list[str] = []
    for word in clean_text(text).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and lettering.measure_mm(longer, size_pt) <= width_mm:
            lines[-1] = longer
        elif lettering.measure_mm(word, size_pt) <= width_mm:
            lines.append(word)
        else:
            return None
    return lines


def cut_words(text: str, width_mm: float, size_pt: float, bold: bool = False) -> str:
    """The text with every word cut that is wider than a column [mm], so that the rest may run over several lines."""
    return " ".join(cut_text(word, width_mm, size_pt, bold) for word in clean_text(text).split(" "))
