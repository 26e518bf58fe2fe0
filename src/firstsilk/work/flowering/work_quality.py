"""Who may need a hand with the work? A fair and private view, for the breeder and the crew leader alone.

Each person stands beside what is expected of anybody on the same lines, males, hours, air and days, never beside
another person; no order by result; and nobody is judged on few pollinations.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from firstsilk.answers import refuse
from firstsilk.science.flowering.bags import count_noted
from firstsilk.science.flowering.notes import Note
from firstsilk.science.flowering.rows import NOT_WELL
from firstsilk.science.seed.germination import find_germination_interval
from firstsilk.science.seed.set_causes import Level, SetModel
from firstsilk.work.occasion import Basis, Occasion
from firstsilk.work.seed.set_causes import fit_season, say_amount
from firstsilk.work.shelf import get_season, get_station

FEWEST_POLLINATIONS = 60
"""Nobody's work is told on fewer pollinations with an outcome (a choice of ours)."""
FEWEST_RECHECKS = 20
"""No share of bags found not well is told on fewer bags looked at (a choice of ours)."""
OFTEN_FRAC = 0.05
"""Bags found not well in more than one of twenty, beyond doubt, are worth a word (a choice of ours)."""
Z_95 = 1.959964
HANDS = {
    "silk_seen": "covering in time: shoot bags on before silk shows, and no silk in the open while pollen is shaken on",
    "bag_open": "closing the bag: all flaps round the stalk, one staple through all of them",
    "wrong_code": "codes: read row and bag aloud, or scan both, before pollen goes on",
    "set": "the pollination itself: go through the steps together on five ears: dry pollen, fresh silk, a shaken bag",
}
VERDICTS = {
    "as": "as expected",
    "better": "better than expected",
    "hand": "may need a hand",
    "few": "too little to say",
}


@dataclass(frozen=True, slots=True)
class WorkCard:
    """One person: what can be said, with how sure it is, and what to help with. `verdict` is a key of `VERDICTS`."""

    worker: str
    pollinations: int
    verdict: str
    says: tuple[str, ...]
    hands: tuple[str, ...]

    @property
    def title(self) -> str:
        """The verdict in words."""
        return VERDICTS[self.verdict]


@dataclass(frozen=True, slots=True)
class WorkView:
    """All cards in the order of codes, and those whom to go and help, in that order too."""

    season: str
    cards: tuple[WorkCard, ...]
    why_not: str
    basis: Basis

    @property
    def to_help(self) -> tuple[WorkCard, ...]:
        """Whoever may need a hand with something."""
        return tuple(one for one in self.cards if one.hands)


def read_work_quality(on: Occasion, season: str = "", worker: str = "") -> WorkView:
    """The card of each person, or of one.

    Raises
    ------
    InputRefused
        If one is asked for of whom nothing was noted this season.

    Notes
    -----
    Seed set: the worker's effect in the model of set (`fit_set_causes`), adjusted for line, male, hour, dry air, age of
    silk and day, and drawn towards none the more, the fewer pollinations it rests on. Rechecks: the share of bags that
    were found not well when looked at once more, with a 95 % interval; a bag counts for whoever pollinated from it, a
    row for its pollinator where there was one alone. What a person noted as lost is not held against anyone: it is an
    honest note.
    """
    station = get_station(on.station)
    book = get_season(station, season, on.today)
    model, rows, why_not = fit_season(on, station, book)
    levels = {one.name: one for one in model.levels.get("worker", ())} if model else {}
    if model is not None and not levels:
        why_not = f"Workers cannot be told apart: {dict(model.without).get('worker', 'none are named')}."
    checks = _gather_rechecks(rows.standing)
    done = _count_pollinations(rows.standing)
    names = sorted({*done, *checks})
    if worker and worker not in names:
        raise refuse("worker_not_noted", f"Nothing of {worker} is noted in season {book.name}.", "Check the code.")
    cards = tuple(
        _make_card(name, done.get(name, 0), levels.get(name), model, checks.get(name, Counter()))
        for name in names
        if worker in ("", name)
    )
    n_checks = sum(sum(one.values()) for one in checks.values())
    used = (("rows with an outcome", len(rows.records)), ("bags looked at once more", n_checks))
    missing = tuple(filter(None, (why_not.rstrip("."), "" if n_checks else "rechecks of bags")))
    return WorkView(book.name, cards, why_not, Basis(used, missing))


def _count_pollinations(notes: Iterable[Note]) -> Counter[str]:
    done: Counter[str] = Counter()
    for note in notes:
        if note.kind == "pollinated" and note.worker:
            done[note.worker] += count_noted(note.value)
    return done


def _gather_rechecks(notes: Sequence[Note]) -> Mapping[str, Counter[str]]:
    """What was found of each pollinator's bags; findings whose pollinator is not known are left out."""
    of_bag: dict[tuple[str, str], set[str]] = defaultdict(set)
    of_row: dict[str, set[str]] = defaultdict(set)
    for note in notes:
        if note.kind == "pollinated":
            of_row[note.tag].add(note.worker)
            if note.bag:
                of_bag[note.tag, note.bag].add(note.worker)
    found: dict[str, Counter[str]] = defaultdict(Counter)
    for note in notes:
        if note.kind == "rechecked":
            whose = of_bag.get((note.tag, note.bag)) if note.bag else of_row.get(note.tag)
            if whose is not None and len(whose) == 1 and (name := next(iter(whose))):
                found[name][note.detail] += count_noted(note.value)
    return found


def _make_card(name: str, done: int, level: Level | None, model: SetModel | None, checks: Counter[str]) -> WorkCard:
    says: list[str] = []
    hands: list[str] = []
    verdict = "few"
    if model is not None and level is not None and level.attempts >= FEWEST_POLLINATIONS:
        verdict, said = _judge_set(level, model)
        says.append(said)
        hands += [HANDS["set"]] if verdict == "hand" else []
    else:
        told = level.attempts if level is not None else 0
        says.append(
            f"Set: {told} pollinations with an outcome; from {FEWEST_POLLINATIONS} on something is said about them."
        )
    for said, hand in _judge_rechecks(checks):
        says.append(said)
        hands += [hand] if hand else []
        if hand:
            verdict = "hand"
    return WorkCard(name, done, verdict, tuple(says), tuple(hands))


def _judge_set(level: Level, model: SetModel) -> tuple[str, str]:
    """Against what anybody is expected to get on the same rows; drawn towards none."""
    low, middle, high = (
        model.back(model.middle_root + level.value + step * Z_95 * level.se) - model.middle for step in (-1, 0, 1)
    )
    verdict = "hand" if high < 0 else "better" if low > 0 else "as"
    ends = f"{say_amount(low, model.measure, True)} to {say_amount(high, model.measure, True)}"
    said = (
        f"Set: {say_amount(middle, model.measure, True)} a pollination against what is expected on these rows, with "
        f"95 % between {ends} ({level.attempts:,} pollinations)."
    )
    return verdict, said


def _judge_rechecks(checks: Counter[str]) -> Iterator[tuple[str, str]]:
    """What the second look at bags says: a sentence, and what to help with, if anything."""
    total = sum(checks.values())
    if total < FEWEST_RECHECKS:
        yield f"Bags looked at once more: {total}; from {FEWEST_RECHECKS} on their share is told.", ""
        return
    bad = sum(checks[kind] for kind in NOT_WELL)
    low, high = find_germination_interval(bad / total, total)
    told = f"{bad / total:.0%} (95 % between {low:.0%} and {high:.0%})"
    yield f"Bags looked at once more: {total}, of them {bad} not well: {told}.", ""
    for kind in NOT_WELL:
        if checks[kind] and find_germination_interval(checks[kind] / total, total)[0] > OFTEN_FRAC:
            yield f"{kind.replace('_', ' ').capitalize()}: {checks[kind]} of {total} bags.", HANDS[kind]
