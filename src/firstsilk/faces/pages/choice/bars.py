"""How does a difference with its error look in one line of a table?"""

from __future__ import annotations

from django.utils.html import format_html
from django.utils.safestring import SafeString

WIDE, HIGH = 120, 16


def draw_bar(difference: float, error: float | None, span: float) -> SafeString:
    """A dot with one error each way on a line from -`span` to +`span`, zero marked; the figures stand beside it."""
    middle = WIDE / 2

    def place(value: float) -> float:
        return round(min(max(middle + value / span * (middle - 4), 2.0), WIDE - 2.0), 1)

    fill = "#0072B2" if difference >= 0 else "#D55E00"
    low, high = place(difference - (error or 0.0)), place(difference + (error or 0.0))
    return format_html(
        '<svg width="{}" height="{}" aria-hidden="true" style="vertical-align:middle">'
        '<line x1="{}" x2="{}" y1="0" y2="{}" stroke="#8a8a86"/>'
        '<line x1="{}" x2="{}" y1="8" y2="8" stroke="{}" stroke-width="2" opacity=".45"/>'
        '<circle cx="{}" cy="8" r="4.5" fill="{}"/></svg>',
        WIDE, HIGH, middle, middle, HIGH, low, high, fill, place(difference), fill,
    )  # fmt: skip
