"""How do an invented crew's ears come home: picked or left bag by bag, put into crates, dried, counted on the bench?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date

import numpy as np

from firstsilk.invented.dice import roll
from firstsilk.invented.drafts import NoteDraft, blur_drafts
from firstsilk.invented.nursery import draw_ear_kernels
from firstsilk.invented.season import EIGHT_O_CLOCK, Field, set_clocks

LEFT_SHARES = {"few_kernels": 0.6, "rotten": 0.2, "no_bag": 0.1, "off_type": 0.05, "other": 0.05}
"""Why an ear that is not good is left. Ours, no source."""
FORGOTTEN_SHARE = 0.04
"""Ears with a number, not good, that nobody writes down."""
CRATED_AT_MINUTE = 840
"""Minutes after midnight at which ears go into crates, when the picking is done."""
WET_PCT, WET_SPREAD_PCT = 31.0, 2.0
DRIEST_PCT, DRIES_BY_DAY = 9.5, 0.81
"""Moisture of ears as picked, where drying ends, and what is left after a day of the moisture above that [%]. Ours, no
source."""


def pick_ears(field: Field, tags: Iterable[str], day: date) -> tuple[NoteDraft, ...]:
    """Pick rows: good ears in, others left with why; ears with a number one by one, the others counted by row.

    As many are good as `season.answer_day_list` finds for the task ``pick`` on the same day.
    """
    wanted = set(tags)
    drafts: list[NoteDraft] = []
    for tag in field.rows:
        if tag in wanted and field.progress[tag].picked is None and field.progress[tag].pollinated:
            drafts += _pick_row(field, tag, day)
    blurred, mistakes = blur_drafts(field.world.seed, set_clocks(field, drafts, day), ())
    field.mistakes += mistakes
    return blurred


def _pick_row(field: Field, tag: str, day: date) -> list[NoteDraft]:
    done = field.progress[tag]
    standing = done.pollinated - done.spoiled
    dice = roll(field.world.seed, "task", tag, "pick", "vigour", day)
    good = int(dice.binomial(standing, field.facts[tag].success_frac))
    done.picked, done.picked_on = good, day
    order = dice.permutation(standing)
    taken = {int(at) for at in order[:good]}
    codes = done.codes[:standing]
    drafts = [_write(field, tag, day, "ears_picked", 1, bag=code) for at, code in enumerate(codes) if at in taken]
    loose = sum(1 for at in taken if at >= len(codes))
    drafts += [_write(field, tag, day, "ears_picked", loose)] if loose or not good else []
    for at, code in enumerate(codes):
        if at not in taken and dice.random() >= FORGOTTEN_SHARE:
            drafts.append(_write(field, tag, day, "ears_left", 1, _draw_why(dice), code))
    whys = [_draw_why(dice) for _ in range(standing - len(codes) - loose)]
    drafts += [_write(field, tag, day, "ears_left", whys.count(why), why) for why in LEFT_SHARES if why in whys]
    done.codes = [code for at, code in enumerate(codes) if at in taken]
    return drafts


def _draw_why(dice: np.random.Generator) -> str:
    return str(dice.choice(list(LEFT_SHARES), p=list(LEFT_SHARES.values())))


def _write(
    field: Field, tag: str, day: date, kind: str, value: int | str, detail: str = "", bag: str = ""
) -> NoteDraft:
    phone = field.phone_of(tag)
    at = f"{day.isoformat()}T{CRATED_AT_MINUTE if kind == 'crated' else EIGHT_O_CLOCK}"
    return NoteDraft("", phone, f"W{phone + 1:02d}", kind, detail, tag, bag=bag, value=str(value), taken_local=at)


def crate_ears(field: Field, crates: Mapping[str, str], day: date) -> tuple[NoteDraft, ...]:
    """Put the good ears of rows picked into crates: each ear with a number by it, the others by their row.

    Parameters
    ----------
    crates
        The crate's tag for each row's tag.
    """
    drafts = []
    for tag, crate in crates.items():
        done = field.progress[tag]
        drafts += [_write(field, tag, day, "crated", crate, bag=code) for code in done.codes]
        drafts += [_write(field, tag, day, "crated", crate)] if (done.picked or 0) > len(done.codes) else []
    blurred, _ = blur_drafts(field.world.seed, set_clocks(field, drafts, day), ())
    return blurred


def measure_crate(seed: int, crate: str, days: int) -> float:
    """Moisture of a crate's ears so many days after the last went in, as a meter shows it [% of wet weight]."""
    start = WET_PCT + WET_SPREAD_PCT * float(roll(seed, "crate", crate).normal())
    now = DRIEST_PCT + (start - DRIEST_PCT) * DRIES_BY_DAY**days
    return round(now + 0.2 * float(roll(seed, "crate", crate, days).normal()), 1)


def shell_ears(field: Field, tag: str, day: date) -> tuple[dict[str, int], int]:
    """Shell a row's good ears one by one: kernels of each ear with a number, and of all others together.

    Together as many as `season.answer_day_list` finds for the task ``shell`` on the same day.
    """
    done = field.progress[tag]
    dice = roll(field.world.seed, "task", tag, "shell", "vigour", day)
    kernels = draw_ear_kernels(dice, field.facts[tag].kernels_per_ear, done.picked or 0)
    done.kernels = sum(kernels)
    by_code = dict(zip(done.codes, kernels, strict=False))
    return by_code, done.kernels - sum(by_code.values())
