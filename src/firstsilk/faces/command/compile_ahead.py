"""How is the code behind a field's ground compiled before anybody waits for a page?

Run once beside `firstsilk serve`, at low priority, on the first start of each version; a mark in the station's folder
says that it was done.
"""

from __future__ import annotations

import math
import os
from pathlib import Path

from firstsilk import __version__
from firstsilk.faces.command.station import prepare_books

MARK = "compiled-ahead.txt"


def compile_ahead(home: Path) -> bool:
    """Fit one small field, so that what it needs is compiled and kept; False if that was done before.

    Parameters
    ----------
    home
        The station's folder, where the mark is kept.
    """
    mark = home / MARK
    if mark.is_file() and mark.read_text(encoding="utf-8") == __version__:
        return False
    from firstsilk.work.analysis.ground import find_ground

    places = [(row, col) for row in range(1, 7) for col in range(1, 7)]
    # A ground that runs across rows and columns, so that a surface is laid.
    values = [8000.0 + 900 * math.sin((row + col) / 2) + (row * 37 + col * 61) % 23 * 9 for row, col in places]
    entries = [f"E{at % 18}" for at in range(36)]
    replicates = [str(at // 18) for at in range(36)]
    find_ground(values, entries, replicates, [row for row, _ in places], [col for _, col in places])
    mark.write_text(__version__, encoding="utf-8")
    return True


if __name__ == "__main__":
    if hasattr(os, "nice"):
        os.nice(10)
    prepare_books()
    from django.conf import settings

    compile_ahead(Path(settings.HOME))
