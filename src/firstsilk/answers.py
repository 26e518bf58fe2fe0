"""What do we say when the answer is not simply yes?

Three kinds of no, and one shape for all of them on every door.

- A `Refusal` is an expected no: a code, the facts, and what would make it yes.
- A `Finding` is something odd in data: a code, where it is, its value, the likely repair.
  The caller chooses to keep, warn or stop.
- An error is a fault; the whole tree is below, and each error says whether trying again can help.

    FirstsilkError
    |-- InputRefused      the input cannot be used as it is (holds the refusal and all findings)
    |-- NotBuilt          the door exists, the room behind it does not yet
    |-- NotConverged      an iterative computation stopped before it was done
    `-- StationFault      the books, the disk or a program beside us failed; trying again may help

This module lies below the ground floor: it imports nothing of ours.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

LONGEST_SHOWN = 80
"""Signs of a wrong value that a sentence repeats; the rest is left out (a choice of ours)."""


def shorten_value(value: str) -> str:
    """A value as a sentence can hold it: whole, or its beginning and an ellipsis."""
    return value if len(value) <= LONGEST_SHOWN else f"{value[: LONGEST_SHOWN - 3]}..."


@dataclass(frozen=True, slots=True)
class Place:
    """Where in the input something is: file, line (1 = header), column, as far as known."""

    file: str = ""
    line: int | None = None
    column: str = ""

    def as_text(self) -> str:
        """The place as the start of a sentence, e.g. ``weather.csv, line 14, column tmin_c``."""
        parts = [self.file] if self.file else []
        if self.line is not None:
            parts.append(f"line {self.line}")
        if self.column:
            parts.append(f"column {self.column}")
        return ", ".join(parts)


@dataclass(frozen=True, slots=True)
class Finding:
    """Something odd in data: a stable code, where, the value as given, and the likely repair."""

    code: str
    message: str
    place: Place = field(default_factory=Place)
    value: str = ""
    repair: str = ""
    stops: bool = True

    def as_text(self) -> str:
        """One sentence naming file, line, column, value and repair."""
        where = self.place.as_text()
        text = f"{where}: {self.message}" if where else self.message
        if self.value != "":
            text += f" (found: {shorten_value(self.value)!r})"
        if self.repair:
            text += f". {self.repair}"
        return text if text.endswith((".", "?")) else text + "."

    def as_json(self) -> dict[str, object]:
        """The finding in the one JSON shape of every door."""
        return {
            "no": "finding",
            "code": self.code,
            "message": self.message,
            "file": self.place.file or None,
            "line": self.place.line,
            "column": self.place.column or None,
            "value": self.value if self.value != "" else None,
            "repair": self.repair or None,
            "stops": self.stops,
        }


@dataclass(frozen=True, slots=True)
class Refusal:
    """An expected no: a stable code, a sentence, the facts, and what would make it a yes."""

    code: str
    message: str
    facts: tuple[tuple[str, str], ...] = ()
    yes_if: str = ""

    def as_text(self) -> str:
        """The refusal as one or two sentences."""
        text = self.message if self.message.endswith((".", "?")) else self.message + "."
        return f"{text} {self.yes_if}" if self.yes_if else text

    def as_json(self) -> dict[str, object]:
        """The refusal in the one JSON shape of every door."""
        return {
            "no": "refusal",
            "code": self.code,
            "message": self.message,
            "facts": dict(self.facts),
            "yes_if": self.yes_if or None,
        }


class FirstsilkError(Exception):
    """The root of all our faults. `code` is stable; `may_retry` says whether trying again can help."""

    code = "error"
    may_retry = False

    def as_json(self) -> dict[str, object]:
        """The error in the one JSON shape of every door."""
        return {
            "no": "error",
            "code": self.code,
            "message": str(self),
            "may_retry": self.may_retry,
        }


class InputRefused(FirstsilkError):
    """The input cannot be used as it is. Carries every finding, or one refusal."""

    code = "input_refused"

    def __init__(
        self,
        message: str = "",
        findings: Sequence[Finding] = (),
        refusal: Refusal | None = None,
    ) -> None:
        self.findings = tuple(findings)
        self.refusal = refusal
        if not message and refusal is not None:
            message = refusal.as_text()
        if not message and self.findings:
            message = self.findings[0].as_text()
            if len(self.findings) > 1:
                message += f" ({len(self.findings) - 1} more findings)"
        super().__init__(message)

    def as_json(self) -> dict[str, object]:
        """The refusal if there is one, else the error with its findings."""
        if self.refusal is not None:
            return self.refusal.as_json()
        shape = FirstsilkError.as_json(self)
        shape["findings"] = [finding.as_json() for finding in self.findings]
        return shape


class NotBuilt(FirstsilkError):
    """The door exists; the room behind it does not yet."""

    code = "not_built_yet"


class NotConverged(FirstsilkError):
    """An iterative computation stopped before it was done."""

    code = "not_converged"


class StationFault(FirstsilkError):
    """The books, the disk or a program beside us failed; trying again may help."""

    code = "station_fault"
    may_retry = True


def refuse(code: str, message: str, yes_if: str = "", **facts: object) -> InputRefused:
    """Build the error that carries one refusal; the caller raises it."""
    told = tuple((name, str(value)) for name, value in facts.items() if value != "")
    return InputRefused(refusal=Refusal(code, message, told, yes_if))


def stop_if_any(findings: Iterable[Finding]) -> None:
    """Raise `InputRefused` with all findings if any of them stops.

    Raises
    ------
    InputRefused
        If at least one finding has ``stops``.
    """
    kept = tuple(findings)
    if any(finding.stops for finding in kept):
        raise InputRefused(findings=kept)
