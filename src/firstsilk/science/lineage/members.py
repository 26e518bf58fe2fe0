"""Is this list of lines and parents a pedigree, and in which order can it be worked through?

A member says how one line was made; a pedigree is a set of members in any order. Complaints carry the place where a
member stood in its file, if it has one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from firstsilk.answers import Finding, InputRefused, Place, stop_if_any

METHODS = ("founder", "founder_inbred", "cross", "self", "sib", "dh", "bulk", "open")
FOUNDERS = ("founder", "founder_inbred")
ONE_PARENT = ("self", "sib", "dh")
FAMILY_METHODS = ("sib", "bulk")


@dataclass(frozen=True, slots=True)
class Member:
    """How one line was made: its name, method, parents (empty = unknown), generations of selfing.

    `place` is where it stood, for complaints only.
    """

    line: str
    method: str
    mother: str = ""
    father: str = ""
    selfings: int = 1
    place: Place = field(default_factory=Place, compare=False)

    def parents(self) -> tuple[str, ...]:
        """The named parents, each once."""
        return tuple(dict.fromkeys(name for name in (self.mother, self.father) if name))


def check_members(members: Sequence[Member]) -> None:
    """Refuse what is no pedigree, naming every fault.

    Raises
    ------
    InputRefused
        A line without a name or twice; an unknown method; a parent without a row of its own; a parent that the method
        cannot have, or lacks; selfings below 1; a loop. (A cross of a line with itself needs the line's inbreeding
        and is checked by `kinship.find_coancestry`.)

    Checked by
    ----------
    tests/science/test_kinship.py
    """
    first: dict[str, Member] = {}
    findings: list[Finding] = []
    for member in members:
        if member.line in first:
            findings.append(_line_twice(member, first[member.line]))
        first.setdefault(member.line, member)
    known = {name.casefold(): name for name in first}
    for member in members:
        findings += _faults_of(member, first, known)
    stop_if_any(findings)
    order_members(members)


def order_members(members: Sequence[Member]) -> list[int]:
    """The order in which parents come before their progeny, as positions in `members`; as given where free.

    Raises
    ------
    InputRefused
        If a line is its own ancestor; the whole loop is named, child before parent.
    """
    position = {member.line: at for at, member in enumerate(members)}
    done = [False] * len(members)
    order: list[int] = []
    for start in range(len(members)):
        if not done[start]:
            _visit(start, members, position, done, order)
    return order


def _visit(start: int, members: Sequence[Member], position: dict[str, int], done: list[bool], order: list[int]) -> None:
    """Depth first without recursion: a pedigree may be thousands of generations deep."""
    path = [start]
    on_path = {start}
    waiting: list[Iterator[str]] = [iter(members[start].parents())]
    while path:
        parent = next(waiting[-1], None)
        if parent is None:
            waiting.pop()
            at = path.pop()
            on_path.discard(at)
            done[at] = True
            order.append(at)
            continue
        at = position[parent]
        if at in on_path:
            raise _loop(members, [*path[path.index(at) :], at])
        if not done[at]:
            path.append(at)
            on_path.add(at)
            waiting.append(iter(members[at].parents()))


def _loop(members: Sequence[Member], ring: list[int]) -> InputRefused:
    names = " <- ".join(members[at].line for at in ring)
    member = members[ring[0]]
    column = "mother" if member.mother == members[ring[1]].line else "father"
    finding = Finding(
        "pedigree_loop",
        f"line {member.line!r} is its own ancestor: {names} (each made from the next)",
        Place(member.place.file, member.place.line, column),
        members[ring[1]].line,
        "Correct one parent in this loop",
    )
    return InputRefused(findings=[finding])


def _finding(member: Member, code: str, message: str, column: str, value: str, repair: str) -> Finding:
    place = Place(member.place.file, member.place.line, column)
    return Finding(code, f"line {member.line!r}: {message}" if member.line else message, place, value, repair)


def _line_twice(member: Member, before: Member) -> Finding:
    where = f" (first in line {before.place.line})" if before.place.line is not None else ""
    return _finding(
        member, "line_twice", f"this line has a row already{where}", "line", member.line, "Keep one row for each line"
    )


def _faults_of(member: Member, first: dict[str, Member], known: dict[str, str]) -> Iterator[Finding]:
    if not member.line:
        yield _finding(member, "line_nameless", "the line has no name", "line", "", "Name it")
    if member.method not in METHODS:
        repair = f"Use one of {', '.join(METHODS)}"
        yield _finding(member, "method_unknown", "this method is not known", "method", member.method, repair)
        return
    yield from _parent_faults(member)
    if member.selfings < 1:
        repair = "Write 1 or more, or leave the cell empty"
        yield _finding(
            member, "selfings_below_one", "selfings must be 1 or more", "selfings", str(member.selfings), repair
        )
    if member.method != "self" and member.selfings != 1:
        repair = "Leave the cell empty, or use the method self"
        message = f"selfings do not belong to the method {member.method}"
        yield _finding(member, "selfings_not_wanted", message, "selfings", str(member.selfings), repair)
    for column, parent in (("mother", member.mother), ("father", member.father)):
        if parent and parent not in first:
            near = known.get(parent.casefold())
            repair = f"Did you mean {near!r}?" if near else "Add a row for it (method founder if nothing is known)"
            yield _finding(member, "parent_has_no_row", "this parent has no row of its own", column, parent, repair)
    yield from _family_faults(member, first)


def _parent_faults(member: Member) -> Iterator[Finding]:
    method, mother, father = member.method, member.mother, member.father
    if method in FOUNDERS:
        for column, parent in (("mother", mother), ("father", father)):
            if parent:
                repair = "Leave it empty, or give the method by which the line was made"
                yield _finding(member, "founder_with_parent", "a founder has no known parents", column, parent, repair)
        return
    if method != "cross" and not mother:
        repair = f"Name the line that the {method} was made from"
        yield _finding(member, "mother_missing", f"the method {method} needs a mother", "mother", "", repair)
    if method in ONE_PARENT and father not in ("", mother):
        repair = "Leave the father empty, or use the method cross"
        yield _finding(
            member, "father_not_wanted", f"the method {method} has one parent, the mother", "father", father, repair
        )
    if method == "open" and father:
        repair = "Leave it empty, or use cross or bulk for a known father"
        yield _finding(
            member, "father_not_wanted", "the father of an open pollination is unknown", "father", father, repair
        )


def _family_faults(member: Member, first: dict[str, Member]) -> Iterator[Finding]:
    if member.method not in FAMILY_METHODS:
        return
    asked = (("mother", member.mother), ("father", member.father if member.method == "bulk" else ""))
    for column, parent in asked:
        if parent in first and first[parent].method == "founder":
            repair = "Give the parents of that line, or use self, cross or open"
            message = f"{member.method} needs a family, but {parent!r} is a founder: its other members are unknown"
            yield _finding(member, "founder_is_no_family", message, column, parent, repair)
