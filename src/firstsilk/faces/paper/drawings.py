"""Which picture stands for which box on paper? The phone's drawings, and those of causes of loss, in black lines."""

from __future__ import annotations

_EAR = (
    "<path d='M24 42c-8 0-12-8-12-16S18 10 24 10s12 8 12 16-4 16-12 16z'/>"
    "<path d='M24 42v4M17 20h14M14 27h20M16 34h16'/>"
)
_SILKS = "<path d='M24 10c0-4-5-3-6-7M24 10c0-4 0-5 0-8M24 10c0-4 5-3 6-7'/>"
_TASSEL = "<path d='M24 46V6M24 30 12 18M24 30l12-12M24 20 15 9M24 20l9-11'/>"
_BAG = "<path d='M14 8h20v30l-4 4-6-3-6 3-4-4z'/>"
_NOT = "<path stroke-width='4.5' d='M6 42 42 6'/>"
_POLLEN = "".join(
    f"<circle cx='{x}' cy='{y}' r='2.6' fill='black'/>" for x, y in ((9, 32), (40, 31), (14, 40), (35, 40))
)
_GRAINS = "".join(f"<circle cx='{x}' cy='{y}' r='2.6' fill='black'/>" for x, y in ((10, 6), (20, 4), (30, 4), (39, 7)))
_DOTS = "".join(f"<circle cx='{x}' cy='24' r='4' fill='black'/>" for x in (10, 24, 38))

DRAWINGS = {
    "silk": _EAR + _SILKS,
    "shed": _TASSEL + _POLLEN,
    "shoot_bagged": "<path d='M24 46v-6M15 14h18v26H15zM15 14l9-8 9 8zM19 22h10M19 28h10'/>",
    "tassel_bagged": f"<path d='M24 46V36'/>{_BAG}<path d='M19 18l5 6 5-6M24 24v8'/>",
    "tassel_unbagged": f"<path d='M24 46V36'/>{_BAG}<path stroke-width='4.5' d='M24 14v16M17 24l7 7 7-7'/>",
    "pollinated": _EAR + _GRAINS,
    "ears_picked": "<path d='M6 24h36l-4 20H10z'/><path d='M14 24c0-8 3-14 7-14s6 6 6 14M26 16c2-4 8-4 9 8'/>",
    "silk_exposed": f"{_EAR}{_SILKS}<path d='M4 24c8-10 32-10 40 0'/>",
    "bag_lost": f"{_BAG}{_NOT}",
    "wrong_male": f"{_TASSEL}{_NOT}",
    "wet_pollen": "<path d='M24 4c8 11 13 17 13 25a13 13 0 0 1-26 0C11 21 16 15 24 4z'/>",
    "plant_broken": "<path d='M20 46V26l14-14M20 34c-8 0-12-4-13-10M27 19l9 6M34 12l-9-4'/>"
    "<path stroke-width='4.5' d='M14 24l12 5'/>",
    "other": _DOTS,
}


def draw_picture(key: str) -> str:
    """The drawing of a box as SVG text."""
    frame = "xmlns='http://www.w3.org/2000/svg' viewBox='0 0 48 48' fill='none' stroke='black' stroke-width='3'"
    return f"<svg {frame} stroke-linejoin='round' stroke-linecap='round'>{DRAWINGS[key]}</svg>"
