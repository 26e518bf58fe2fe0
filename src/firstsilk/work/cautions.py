"""Which cautions stand wherever work in the field is planned, listed or printed?

Their one home: pages, commands and paper take them from here. Short on purpose, and never the only guard: a leader,
local law and the product label decide.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Caution:
    """One caution: its heading, and what to do in plain words."""

    name: str
    text: str


HEAT = Caution(
    "Heat",
    "Drink before you are thirsty; rest in shade every hour. New to the work: about a fifth of a full day on day one, "
    "a fifth more each day; again after a week away. Dizzy, sick, confused: stop, shade, water, call your leader; "
    "nobody who feels ill stays alone.",
)
HOURS = Caution(
    "Hours",
    "Count everybody's hours, the way to the field included; a break of ten minutes in every hour. Stop for lightning, "
    "and when the leader says so.",
)
POLLEN = Caution(
    "Pollen",
    "Hay fever, asthma or a grass allergy: tell your leader before you start. Long sleeves, glasses, mask. "
    "Short of breath: stop and get help.",
)
BAGS = Caution(
    "Bags",
    "A full tassel bag lets out a cloud of pollen: open it away from your face. "
    "Staples and torn bags leave the field with you.",
)
SPRAY = Caution(
    "Spray",
    "Never enter a row that is posted or marked NO ENTRY, not even for a minute; the longest interval on the labels "
    "counts.",
)
TOOLS = Caution(
    "Leaves and tools", "Leaf edges cut skin and eyes: wear glasses, sleeves, gloves. Knives stay in their sheath."
)
UNDER_18 = Caution(
    "Under 18",
    "The law sets which tasks and hours are allowed; ask your leader. No machines, no driving, no spray, no knives "
    "where the law says so.",
)

CAUTIONS: tuple[Caution, ...] = (HEAT, HOURS, POLLEN, BAGS, SPRAY, TOOLS, UNDER_18)
"""The wording is ours. Sources of the facts: MMWR 2014 and NIOSH on new workers in heat (20 % of the time on day one,
20 % more a day), Rutgers on a week away and on people left alone; youth farm safety advice on breaks (ten minutes an
hour); the US Worker Protection Standard (40 CFR 170) on entry after spraying; Directive 94/33/EC and US child labour
rules for farms on minors. Pollen, bags, leaves and tools: common practice, no source."""

LIMITS = "These cautions are short and not complete. Local law, product labels and licensed practice decide."

HEAT_CAUTION = (
    "Heat: water and shade within reach; new workers do about 20 % of the normal time on day one, 20 % more each day; "
    "nobody who feels ill stays alone."
)
FIELD_CAUTION = (
    "Pollen and leaf edges: glasses, long sleeves; stop at breathlessness. Knives sheathed. No entry before a spray "
    "interval ends. Hours and tasks of minors: local law, labels and licensed practice decide."
)
SEED_CAUTION = (
    "Treated seed: gloves, no food nearby, wash before eating; what is left over is written down and never fed. "
    "Planters: hands off while the engine runs."
)
SOWING_CAUTION = f"{SEED_CAUTION} {HEAT_CAUTION} Under 18: {UNDER_18.text} {LIMITS}"
"""What stands on the sowing calendar."""
CAUTIONS_SHORT = (HEAT_CAUTION, FIELD_CAUTION)
"""The same in two sentences, for pages and commands that a person reads every day."""
