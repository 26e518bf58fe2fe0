"""Would a line come from itself, now that records merged into another count as one line with it?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from firstsilk.answers import Finding
from firstsilk.science.lineage.members import Member
from firstsilk.work.bring.tables import LineGiven


def check_merge_loops(
    lines: Sequence[LineGiven], members: Sequence[Member], merged: Mapping[str, str]
) -> Iterator[Finding]:
    """Every loop that only merges close, each named once at the first brought line on it.

    Parameters
    ----------
    lines
        The lines of the table.
    members
        All lines, of the table and of the books, without loops of their own.
    merged
        The line kept for each record merged away.

    Notes
    -----
    A line has the parents of all its records, as in `merge_lines`. Checked by tests/work/test_bring_merge_loops.py.
    """
    given = {line.line: line for line in reversed(lines)}
    order = {line.line: at for at, line in enumerate(lines)}
    steps = _list_steps(members, merged)
    while ring := _find_ring(steps):
        # Told from the first brought line on, in whatever order the books gave the records.
        starts = [at for at, step in enumerate(ring) if step[0] in given]
        at = min(starts, key=lambda one: order[ring[one][0]], default=0)
        ring = [*ring[at:], *ring[:at]]
        if starts:
            yield _tell(ring, given[ring[0][0]], ring[0][1], merged)
        # Without the step that was told the loop is open, and the search goes on.
        cut = ring[0]
        stands = merged.get(cut[0], cut[0])
        steps[stands] = [step for step in steps[stands] if step != cut]


_Step = tuple[str, str, str]
"""A record, its parent as its record names it, and the line that stands for that parent."""


def _list_steps(members: Sequence[Member], merged: Mapping[str, str]) -> dict[str, list[_Step]]:
    """The steps up from each line, those of all its records together."""
    steps: dict[str, list[_Step]] = {}
    for member in members:
        up = [(member.line, parent, merged.get(parent, parent)) for parent in member.parents()]
        steps.setdefault(merged.get(member.line, member.line), []).extend(up)
    return steps


def _find_ring(steps: Mapping[str, Sequence[_Step]]) -> list[_Step]:
    """The steps of one loop, child before parent; empty if there is none. Depth first, without recursion."""
    done: set[str] = set()
    for start in steps:
        path: list[_Step] = []
        on_path = [start]
        waiting = [iter(steps[start])] if start not in done else []
        while waiting:
            step = next(waiting[-1], None)
            if step is None:
                waiting.pop()
                done.add(on_path.pop())
                path = path[:-1]
            elif step[2] in on_path:
                return [*path[on_path.index(step[2]) :], step]
            elif step[2] in steps and step[2] not in done:
                path.append(step)
                on_path.append(step[2])
                waiting.append(iter(steps[step[2]]))
    return []


def _tell(ring: Sequence[_Step], line: LineGiven, parent: str, merged: Mapping[str, str]) -> Finding:
    first = merged.get(ring[0][0], ring[0][0])
    way = " <- ".join([first, *(stands for _, _, stands in ring)])
    pairs = {(name, merged[name]) for child, named, _ in ring for name in (child, named) if name in merged}
    which = ", ".join(f"{gone!r} is merged into {kept!r}" for gone, kept in sorted(pairs))
    message = f"line {first!r} would be its own ancestor: {way} (each made from the next), for {which}"
    column = "mother" if line.mother == parent else "father"
    return line.tell(column, "pedigree_loop", message, "Correct this parent, or undo the merge first", value=parent)
