"""How are the notes read off pictures of a phone that shows its film of codes?"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from firstsilk.answers import InputRefused
from firstsilk.science.flowering.film import FilmUnreadable, read_films

PICTURES = (".png", ".jpg", ".jpeg", ".webp", ".gif")
MOST_PICTURES = 2_000
MOST_PICTURE_BYTES = 20 * 1024 * 1024
WIDE_PX = 1000
"""To which a picture is drawn: a code of 77 modules that fills half of it still has six dots a module."""


def is_picture(name: str) -> bool:
    """Whether a file's name is that of a picture that can be read."""
    return Path(name).suffix.lower() in PICTURES


def read_film_folder(folder: Path) -> list[object]:
    """The notes on all pictures of a folder: photos, or single pictures of a video.

    Raises
    ------
    InputRefused
        If there is no folder or no picture, or codes are missing.
    """
    if not folder.is_dir():
        raise InputRefused(f"{folder}: this is no folder. Put the pictures of the film into one.")
    return read_film(
        [(path.name, path.read_bytes()) for path in sorted(folder.iterdir()) if is_picture(path.name)], folder.name
    )


def read_film(pictures: Sequence[tuple[str, bytes]], where: str) -> list[object]:
    """The travelling notes on pictures of a film, given with their names; all of them, or a refusal."""
    if not pictures:
        kinds = ", ".join(one[1:] for one in PICTURES)
        raise InputRefused(f"{where}: there is no picture here. Pictures may be {kinds}.")
    if len(pictures) > MOST_PICTURES:
        raise InputRefused(f"{where}: {len(pictures):,} pictures, at most {MOST_PICTURES:,} can be read at once.")
    try:
        films = read_films(text for name, content in pictures for text in _read_codes(name, content))
    except FilmUnreadable as fault:
        raise InputRefused(f"{where}: the film does not read back: {fault}. Let the phone show it once more.") from None
    if not films:
        raise InputRefused(f"{where}: no code of a phone's film on {len(pictures)} pictures. Fill the picture with it.")
    for film in films:
        if film.missing:
            told = ", ".join(str(place) for place in film.missing[:12]) + (", …" if len(film.missing) > 12 else "")
            number = f"{len(film.missing)} of {film.n_frames} codes"
            raise InputRefused(f"{where}: {number} of a film are on no picture: {told}. Take pictures of these too.")
    return [note for film in films for note in film.notes]


def _read_codes(name: str, content: bytes) -> list[str]:
    """The texts of all codes on a picture."""
    import zxingcpp

    from firstsilk.faces.paper.press import open_picture

    if len(content) > MOST_PICTURE_BYTES:
        raise InputRefused(f"{name}: the picture has {len(content) / 1e6:.0f} MB, at most 20 can be read.")
    picture = open_picture(content, WIDE_PX)
    if picture is None:
        raise InputRefused(f"{name}: this picture cannot be opened. Save it as PNG or JPEG.")
    codes = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormats(zxingcpp.BarcodeFormat.QRCode))
    return [code.text for code in codes]
