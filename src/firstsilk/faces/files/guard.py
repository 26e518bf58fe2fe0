"""Is an uploaded file what its name says, and small enough to open?

A spreadsheet is an archive, and an archive can be a trap: a few kilobytes that unpack to gigabytes. It is looked at
before it is opened (limits after OWASP ASVS 5.0, 5.2.2 and 5.2.3; the ratio of 100 is the one office libraries use).
"""

from __future__ import annotations

import gzip
import io
import zipfile
import zlib
from pathlib import Path

from firstsilk.answers import InputRefused

MOST_BYTES = 10 * 1024 * 1024
MOST_MEMBERS = 1000
MOST_UNPACKED_BYTES = 200 * 1024 * 1024
MOST_RATIO = 100
MARKER_KINDS = (".vcf", ".gz")
KNOWN = (".csv", ".xlsx", ".parquet", ".txt", ".tsv")


def check_upload(content: bytes, name: str) -> None:
    """Refuse an upload that is too large, of no known kind, or not what its name says.

    Raises
    ------
    InputRefused
        With one sentence that names the file and the repair.
    """
    suffix = Path(name).suffix.lower()
    if len(content) > MOST_BYTES:
        raise InputRefused(
            f"{name}: the file has {len(content) / 1e6:.0f} MB, at most 10 can be read. Send it in parts."
        )
    if suffix not in KNOWN:
        raise InputRefused(f"{name}: a file of this kind is not read. Save the table as CSV or XLSX.")
    if suffix == ".xlsx":
        check_archive(content, name)
    elif suffix == ".parquet" and not content.startswith(b"PAR1"):
        raise InputRefused(f"{name}: this is not a Parquet file. Save it again, or as CSV UTF-8.")


def check_marker_upload(content: bytes, name: str) -> None:
    """As `check_upload`, for markers: variant call files and packed ones are known too.

    Raises
    ------
    InputRefused
        With one sentence that names the file and the repair.
    """
    suffix = Path(name).suffix.lower()
    if suffix not in MARKER_KINDS:
        check_upload(content, name)
        return
    if len(content) > MOST_BYTES:
        raise InputRefused(
            f"{name}: the file has {len(content) / 1e6:.0f} MB, at most 10 can be sent. Use firstsilk bring-markers."
        )
    if content.startswith(b"\x1f\x8b"):
        _check_packed(content, name)


def _check_packed(content: bytes, name: str) -> None:
    """Unpack in pieces and stop at the bound, so that a trap never unfolds."""
    size, most = 0, min(MOST_UNPACKED_BYTES, MOST_RATIO * len(content) + 1_000_000)
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(content)) as stream:
            while piece := stream.read(1 << 20):
                size += len(piece)
                if size > most:
                    raise InputRefused(f"{name}: the file unpacks out of all proportion. Send it in parts.")
    except (EOFError, gzip.BadGzipFile, zlib.error):
        raise InputRefused(f"{name}: the packed file is broken or cut short. Fetch it again.") from None


def check_archive(content: bytes, name: str) -> None:
    """Refuse a spreadsheet that is no archive, or one that would unpack out of all proportion."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            members = archive.infolist()
    except zipfile.BadZipFile:
        raise InputRefused(f"{name}: this cannot be read as a spreadsheet. Save it again, or as CSV UTF-8.") from None
    unpacked = sum(member.file_size for member in members)
    swollen = any(member.file_size > MOST_RATIO * max(1, member.compress_size) + 1_000_000 for member in members)
    if len(members) > MOST_MEMBERS or unpacked > MOST_UNPACKED_BYTES or swollen:
        raise InputRefused(
            f"{name}: the spreadsheet unpacks to {unpacked / 1e6:.0f} MB in {len(members)} parts, which is out of all "
            "proportion. Save only the table, as CSV UTF-8."
        )
