"""Which cautions stand on every paper that sends a person into the field?

Short on purpose, and never the only guard: a leader, local law and the product label decide.
"""

from __future__ import annotations

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Heat",
        "Drink before you are thirsty; rest in shade every hour. New to the work: about a fifth of a full day on day one, "
        "a fifth more each day. Dizzy, sick, confused: stop, shade, water, call your leader.",
    ),
    (
        "Pollen",
        "Hay fever, asthma or a grass allergy: tell your leader before you start. Long sleeves, glasses, mask. "
        "Short of breath: stop and get help.",
    ),
    ("Spray", "Never enter a row that is posted or marked NO ENTRY, not even for a minute."),
    ("Leaves and tools", "Leaf edges cut skin and eyes: wear glasses, sleeves, gloves. Knives stay in their sheath."),
    (
        "Under 18",
        "The law sets which tasks and hours are allowed; ask your leader. No machines, no driving, no spray, no knives "
        "where the law says so.",
    ),
)
"""Heading and text of each. Sources: US OSHA and NIOSH advice on heat and new workers (20 % a day); the US Worker
Protection Standard of 2015 on re-entry; Directive 94/33/EC and US child labour rules for farms on minors. The wording is
ours."""

LIMITS = "These cautions are short and not complete. Local law, product labels and licensed practice decide."
