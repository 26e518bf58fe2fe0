"""How much seed would the targets that are still in draft need?"""

from __future__ import annotations

import math
from collections import defaultdict

from firstsilk.records.models import Station
from firstsilk.science.nursery.counts import OVERPLANT_FRAC, OVERPLANT_TESTER_FRAC, PLANTS_PER_ROW, count_rows
from firstsilk.work.nursery.joint_sowing import MALE_EARS_PER_ROW
from firstsilk.work.nursery.rates import read_line_rates
from firstsilk.work.occasion import Occasion
from firstsilk.work.standing import targets_on


def count_draft_seed(on: Occasion, station: Station) -> dict[str, int]:
    """Kernels that must germinate for the draft targets of this year's seasons and later ones, by line.

    Notes
    -----
    As the plan lays them out with its usual settings: rows x 18 plants and a fifth more, males half as much again. What
    the plan then promises may differ: rows that serve several crosses are shared, and lots germinate as they do.
    """
    found = targets_on(station, on.today).filter(state="draft", season__year__gte=on.today.year)
    drafts = list(found.select_related("female", "male").order_by("pk"))
    rates = read_line_rates(station, {one.female.name for one in drafts}, on.today) if drafts else {}
    seed: dict[str, int] = defaultdict(int)
    ears_by_male: dict[str, int] = defaultdict(int)
    for one in drafts:
        tries = rates[one.female.name].pollinations_for(one.ears_wanted, one.kernels_wanted)
        seed[one.female.name] += math.ceil(count_rows(tries) * PLANTS_PER_ROW * (1 + OVERPLANT_FRAC))
        if one.male is not None:
            ears_by_male[one.male.name] += tries
    for name, ears in ears_by_male.items():
        rows = -(-ears // MALE_EARS_PER_ROW)
        seed[name] += math.ceil(rows * PLANTS_PER_ROW * (1 + OVERPLANT_TESTER_FRAC))
    return dict(seed)
