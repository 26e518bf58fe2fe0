"""Where in a table is what was refused?

A table is refused whole, with every line that is wrong; one entry typed at the desk is refused as it stands.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field

from firstsilk.answers import Finding, InputRefused, Place, stop_if_any


@dataclass(slots=True)
class Complaints:
    """Gathers refusals as findings, each with the place of its entry; without places each is raised at once."""

    places: Sequence[Place] = ()
    findings: list[Finding] = field(default_factory=list)

    @contextmanager
    def about(self, entry: int) -> Iterator[None]:
        """Whatever is refused inside is a complaint about this entry, counted from 0."""
        try:
            yield
        except InputRefused as refused:
            if entry >= len(self.places) or refused.refusal is None:
                raise
            told, facts = refused.refusal, dict(refused.refusal.facts)
            at = self.places[entry]
            place = Place(at.file, at.line, facts.get("column", at.column))
            message, repair = told.message.rstrip("."), told.yes_if.rstrip(".")
            self.findings.append(Finding(told.code, message, place, facts.get("value", ""), repair))

    def stop_if_any(self) -> None:
        """Raise `InputRefused` with all complaints, if there are any."""
        stop_if_any(self.findings)
