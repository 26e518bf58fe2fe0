"""What is one day or hour of weather as somebody sends it? Values only, so that files can be read without the books."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from firstsilk.answers import Place


@dataclass(frozen=True, slots=True)
class DayReading:
    """One day as it was sent: temperatures [°C] and rain [mm], None where not known, and where it stood."""

    day: date
    tmin_c: float | None
    tmax_c: float | None
    rain_mm: float | None = None
    place: Place = field(default_factory=Place, compare=False)


@dataclass(frozen=True, slots=True)
class HourReading:
    """One reading within a day: its hour (0 to 23), temperature [°C], humidity [%], rain [mm], and where it stood."""

    day: date
    hour: int
    temp_c: float | None
    rh_pct: float | None = None
    rain_mm: float | None = None
    place: Place = field(default_factory=Place, compare=False)
