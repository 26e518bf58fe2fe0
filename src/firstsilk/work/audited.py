"""What does an audit say: which finding about which record, and how heavy is it?"""

from __future__ import annotations

from dataclasses import dataclass

from firstsilk.answers import Finding
from firstsilk.work.occasion import Basis

SUBJECTS = ("lineage", "seed", "nursery", "flowering", "trials")
"""The rooms whose books are looked at, in the order of the year."""

WEIGHTS = {
    "cannot_be": "cannot be: two records of the books contradict each other",
    "unlikely": "unlikely: possible, and seldom right",
    "not_told": "not told: a record that the rules need is missing",
}
"""The three weights, the heaviest first."""

WEIGHT_OF = {
    "parent_not_told": "not_told",
    "father_of_a_self": "cannot_be",
    "crossed_with_itself": "cannot_be",
    "generation_not_told": "not_told",
    "generation_not_next": "cannot_be",
    "derived_from_itself": "cannot_be",
    "derived_from_elsewhere": "cannot_be",
    "derived_from_not_told": "not_told",
    "derived_generation_odd": "cannot_be",
    "derived_generation_late": "cannot_be",
    "group_not_told": "not_told",
    "parents_of_one_group": "unlikely",
    "pedigree_loop": "cannot_be",
    "marker_not_the_line": "cannot_be",
    "marker_not_the_parent": "cannot_be",
    "marker_not_the_cross": "cannot_be",
    "marker_not_the_parents": "cannot_be",
    "marker_too_mixed": "unlikely",
    "lot_overdrawn": "cannot_be",
    "lot_overpromised": "cannot_be",
    "lot_without_row": "not_told",
    "lot_without_origin": "not_told",
    "shares_not_one": "cannot_be",
    "lot_not_of_its_row": "cannot_be",
    "lot_of_another_father": "cannot_be",
    "row_of_another_lot": "cannot_be",
    "row_without_lot": "not_told",
    "sown_before_its_seed": "cannot_be",
    "more_plants_than_kernels": "cannot_be",
    "sowing_not_told": "not_told",
    "row_not_of_its_target": "cannot_be",
    "male_without_row": "unlikely",
    "packets_swapped": "unlikely",
    "packets_shifted": "unlikely",
    "row_flowers_apart": "unlikely",
    "kind_unknown": "not_told",
    "corrected_twice": "cannot_be",
    "more_ears_than_pollinated": "cannot_be",
    "more_ears_than_plants": "unlikely",
    "more_lost_than_made": "cannot_be",
    "silk_was_over": "unlikely",
    "day_unlikely": "cannot_be",
    "flower_too_soon": "cannot_be",
    "male_missing": "not_told",
    "male_unknown": "cannot_be",
    "male_not_planned": "unlikely",
    "male_not_shedding": "unlikely",
    "silk_not_out": "unlikely",
    "silk_not_told": "not_told",
    "kind_not_planned": "unlikely",
    "tassel_not_bagged": "not_told",
    "bag_put_on_twice": "cannot_be",
    "bag_never_used": "not_told",
    "bag_used_before": "cannot_be",
    "bag_used_late": "unlikely",
    "bag_used_at_once": "unlikely",
    "bag_of_other_male": "cannot_be",
    "bag_is_bulk": "unlikely",
    "bag_of_other_kind": "unlikely",
    "person_not_there": "not_told",
    "seen_and_not_lost": "unlikely",
    "more_ears_than_bags": "unlikely",
    "ear_of_other_row": "cannot_be",
    "ears_of_no_row": "not_told",
    "more_ears_of_bag": "cannot_be",
    "bag_not_seen": "not_told",
    "crate_unknown": "cannot_be",
    "moisture_unreadable": "cannot_be",
    "crate_forgotten": "not_told",
    "kernels_without_ears": "not_told",
    "too_many_kernels": "unlikely",
    "note_of_no_record": "cannot_be",
    "plots_not_by_reps": "cannot_be",
    "check_not_in_replicate": "unlikely",
    "moisture_out_of_range": "unlikely",
    "weight_not_above_zero": "cannot_be",
    "more_lodged_than_stood": "cannot_be",
    "drift": "unlikely",
}
"""The weight of each rule's finding, by its code."""


@dataclass(frozen=True, slots=True)
class Found:
    """One finding about one record. `subject` is of `SUBJECTS`; `kind` is ``line``, ``lot``, ``row``, ``trial``,
    ``crate`` or ``note``, `key` what its page is asked by, `record` how a person calls it. Where the finding's value is
    a note, it is called as a person does (``phone 3, note 212``) and `note` is its id; `position` is its place in the
    chain where no row tells of it, else 0."""

    subject: str
    kind: str
    key: str
    record: str
    finding: Finding
    note: str = ""
    position: int = 0

    @property
    def weight(self) -> str:
        """How heavy it is, of `WEIGHTS`."""
        return WEIGHT_OF[self.finding.code]


@dataclass(frozen=True, slots=True)
class Audit:
    """All findings about the books of a station as they stood on a day, by subject, the heaviest first within each.

    `looked_at` says how many records of each kind were looked at; `not_judged` what could not be, and why.
    """

    found: tuple[Found, ...]
    looked_at: tuple[tuple[str, int], ...]
    not_judged: tuple[str, ...]
    basis: Basis

    def count(self, subject: str = "", weight: str = "") -> int:
        """Findings of a subject and a weight; of all if empty."""
        return sum(subject in ("", one.subject) and weight in ("", one.weight) for one in self.found)

    @property
    def codes(self) -> tuple[tuple[str, int], ...]:
        """How many findings of each code, by code."""
        counts: dict[str, int] = {}
        for one in self.found:
            counts[one.finding.code] = counts.get(one.finding.code, 0) + 1
        return tuple(sorted(counts.items()))

    def choose(self, subject: str = "", weight: str = "", code: str = "") -> tuple[Found, ...]:
        """The findings of a subject, a weight and a code; all of each if empty."""
        return tuple(
            one
            for one in self.found
            if subject in ("", one.subject) and weight in ("", one.weight) and code in ("", one.finding.code)
        )
