"""How is an address drawn so that a phone's camera reads it, on a page and in a terminal?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.utils.html import format_html
from django.utils.safestring import SafeString

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

QUIET_MODULES = 4
_BLACK_ON_WHITE, _AS_BEFORE = "\x1b[30;47m", "\x1b[0m"


def draw_address(address: str, says: str = "") -> SafeString:
    """An address as a QR code, drawn as SVG with a quiet zone of four modules."""
    modules = _make_modules(address)
    path = "".join(f"M{col} {row}h1v1h-1z" for row, col in _list_dark(modules))
    return format_html(
        '<svg viewBox="0 0 {0} {0}" role="img" aria-label="{1}"><rect width="100%" height="100%" fill="#fff"/>'
        '<path d="{2}" fill="#000"/></svg>',
        modules.shape[0],
        says or f"A code that opens {address}",
        path,
    )


def draw_in_terminal(address: str) -> str:
    """An address as a QR code of half blocks, two rows of modules a line, black on white in any terminal."""
    modules = _make_modules(address)
    signs = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}
    lines = []
    for row in range(0, modules.shape[0], 2):
        below = modules[row + 1] if row + 1 < modules.shape[0] else [False] * modules.shape[1]
        lines.append("".join(signs[bool(up), bool(down)] for up, down in zip(modules[row], below, strict=True)))
    return "\n".join(f"{_BLACK_ON_WHITE}{line}{_AS_BEFORE}" for line in lines)


def _make_modules(address: str) -> NDArray[np.bool_]:
    import numpy as np
    import zxingcpp

    code = zxingcpp.create_barcode(address, zxingcpp.BarcodeFormat.QRCode, ec_level="M")
    dark = np.asarray(code.to_image(scale=1, add_quiet_zones=False)) < 128
    return np.pad(dark, QUIET_MODULES)


def _list_dark(modules: NDArray[np.bool_]) -> list[tuple[int, int]]:
    import numpy as np

    return [(int(row), int(col)) for row, col in np.argwhere(modules)]
