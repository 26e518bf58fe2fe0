"""How are the replicates of a germination test read from text?"""

from __future__ import annotations

import re

from firstsilk.answers import refuse, shorten_value


def read_replicates(text: str) -> tuple[int, ...]:
    """Whole numbers parted by commas, semicolons or blanks; none of an empty text.

    Raises
    ------
    InputRefused
        If one of them is no whole number.
    """
    parts = [part for part in re.split(r"[\s,;]+", text.strip()) if part]
    if any(not (part.isascii() and part.isdigit() and len(part) < 5) for part in parts):
        told = f"{shorten_value(text)!r} are not replicates."
        raise refuse("replicates_unread", told, "Write how many of each 100 germinated: 92, 95, 90, 94.")
    return tuple(int(part) for part in parts)
