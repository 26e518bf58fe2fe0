"""Which cautions stand on every paper that sends a person into the field?

Short on purpose, and never the only guard: a leader, local law and the product label decide.
"""

from __future__ import annotations

HEAT = (
    "Drink before you are thirsty; rest in shade every hour. New to the work: about a fifth of a full day on day one, "
    "a fifth more each day. Dizzy, sick, confused: stop, shade, water, call your leader."
)
POLLEN = (
    "Hay fever, asthma or a grass allergy: tell your leader before you start. Long sleeves, glasses, mask. "
    "Short of breath: stop and get help."
)
SPRAY = "Never enter a row that is posted or marked NO ENTRY, not even for a minute."
TOOLS = "Leaf edges cut skin and eyes: wear glasses, sleeves, gloves. Knives stay in their sheath."
UNDER_18 = (
    "The law sets which tasks and hours are allowed; ask your leader. No machines, no driving, no spray, no knives "
    "where the law says so."
)

CAUTIONS: tuple[tuple[str, str], ...] = (
    ("Heat", HEAT),
    ("Pollen", POLLEN),
    ("Spray", SPRAY),
    ("Leaves and tools", TOOLS),
    ("Under 18", UNDER_18),
)
"""Heading and text of each; the wording is ours. Sources of the facts: NIOSH advice on new workers in heat (20 % of the
time on day one, 20 % more a day); the US Worker Protection Standard (2015) on entry after spraying; Directive 94/33/EC
and US child labour rules for farms on minors. Pollen, leaves and tools: common practice, no source."""

LIMITS = "These cautions are short and not complete. Local law, product labels and licensed practice decide."
