"""How long do the chances of 9,000 targets on 20,000 rows take, beside the day's list? Books as in `day_list.py`.

``python benchmarks/targets.py [ROWS]``: a line for every second row, in seconds of the processor and by the clock.
"""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from benchmarks.day_list import TODAY, fill_books, time_work

BAR_S = 3.0


def main() -> int:
    """Print how long the list and the targets take; 1 where the targets take longer than their bar."""
    import django

    django.setup()
    n_rows = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    fill_books(n_rows, n_rows // 2)
    from firstsilk.work.flowering.day import read_day_list
    from firstsilk.work.flowering.targets import tell_targets
    from tests.factories import occasion

    on = occasion(TODAY)
    day = read_day_list(on, by_forecast=True)
    draws = "no forecast" if day.forecast is None else f"{day.forecast.silk.shape[1]} draws"
    print(f"{len(day.rows):,} rows, {len(day.progress):,} targets, {draws}")
    spent, clock = time_work(lambda: read_day_list(on, by_forecast=True))
    print(f"the list with its forecast: {spent:.2f} s on the processor, {clock:.2f} s by the clock")
    spent, clock = time_work(lambda: tell_targets(on, day))
    print(f"chances of all targets: {spent:.2f} s on the processor, {clock:.2f} s by the clock")
    return 0 if clock < BAR_S else 1


if __name__ == "__main__":
    sys.exit(main())
