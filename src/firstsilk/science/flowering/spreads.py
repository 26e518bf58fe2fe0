"""How far apart do lines, seasons and rows lie in flowering, before anything is known of them?

All in days of a normal July, so that they hold in any scale of heat units; the forecast turns them into units by the
pace of the site at flowering. They are starting points: the season's own notes move the season's shift, the rows'
spread and the lines' values away from them.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations [days] and mean effects [days] that a forecast starts from.

    Attributes
    ----------
    line_days, line_apart_days
        Among unrelated inbred lines, silk and shed alike, and silk against shed. Inbreds of one short-season station
        reach silk in 75 to 86 days, with 2 to 6 days from shed to silk (Ottawa releases: AAFC 2016; Kebede et al.
        2021): standard deviations of about 3, and of about 1.3 for the interval, which is twice the one apart.
    season_days, season_apart_days
        A season's shift for all rows that heat units do not tell, alike and apart. Common practice, no source.
    drift_days
        How far that shift may drift in the ten days after the last note. Common practice, no source.
    row_days, row_apart_days
        A row's own: soil, depth, seed, the eye of the reader. Common practice, no source.
    heterosis_days, heterosis_sd_days
        How much earlier a first cross of unrelated inbreds flowers than their mean, and how unsure that is. No source
        gives a number for early inbreds; from memory 2 to 6 days.
    drought_days, drought_sd_days
        How much a month without any rain before flowering holds silk back, shed not: intervals to 8 days are
        published (Edmeades & Bolanos).
    crowding_days, crowding_sd_days
        How much one standard deviation of stand holds silk back. Sign published (the same), size ours.
    late_days, late_sd_days
        Units that a row needs less by day of later sowing, in days. 1.6 gdd_f a day to flowering are published for
        hybrids (North Dakota State, late planting), 34 gdd_f over a month (Nielsen et al. 2002); taken as unsure.
    clock_frac, clock_sd_frac
        How much of what another scale of heat units hints at is taken to be true before any season has told. Ours.
    wrong_note_frac
        Share of notes taken to be in the wrong row or on the wrong day. Ours; single-key entry has 0.4 in 1,000
        (Paulsen et al. 2012), a crew in the field more.
    """

    line_days: float = 2.8
    line_apart_days: float = 0.65
    season_days: float = 0.8
    season_apart_days: float = 0.4
    drift_days: float = 0.32
    row_days: float = 0.5
    row_apart_days: float = 0.3
    heterosis_days: float = 4.0
    heterosis_sd_days: float = 1.5
    drought_days: float = 3.5
    drought_sd_days: float = 2.5
    crowding_days: float = 0.3
    crowding_sd_days: float = 0.3
    late_days: float = -0.01
    late_sd_days: float = 0.04
    clock_frac: float = 0.2
    clock_sd_frac: float = 0.5
    wrong_note_frac: float = 0.01


SPREADS = Spreads()
"""The spreads that are used unless others are handed in."""
