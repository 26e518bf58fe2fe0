"""How do the page's scripts travel? As one file, so that a phone fetches once what it would fetch in twenty-five goes.

Each script stays a room of its own: its text goes into a function that gives back what it exports. Lines that are
comments stay at the station. Only the plain forms that our scripts use are read, one a statement; anything else is an
error, so that nothing is joined wrongly.
"""

from __future__ import annotations

import re
from collections.abc import Callable

_IMPORT = re.compile(r'^import \{([^}]*)\} from "\./([\w.]+)";\n', re.MULTILINE)
_EXPORT_LIST = re.compile(r"^export \{([^}]*)\};\n", re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async function|function|class|const) (\w+))", re.MULTILINE)
_COMMENT = re.compile(r"^[ \t]*(?://.*|/\*(?:[^*]|\*(?!/))*\*/)\n", re.MULTILINE)
_ELSE = re.compile(r"^(?:import|export)\b.*", re.MULTILINE)


def find_parts(first: str, read: Callable[[str], str]) -> list[str]:
    """Names of a script and all that it imports, each after those that it needs; the script itself last."""
    order: list[str] = []

    def visit(name: str, above: tuple[str, ...]) -> None:
        if name in above:
            raise ValueError(f"scripts import each other: {' -> '.join((*above, name))}")
        if name in order:
            return
        for _, other in _IMPORT.findall(read(name)):
            visit(other, (*above, name))
        order.append(name)

    visit(first, ())
    return order


def join_scripts(first: str, read: Callable[[str], str]) -> str:
    """A script with all that it imports, as one text.

    Parameters
    ----------
    first
        Name of the script that a page or a worker is started with.
    read
        Gives the text of a script by its name.

    Raises
    ------
    ValueError
        If scripts import each other in a ring, or a statement has a form that is not read here; so has a text over
        several lines, of which one might look like a comment.
    """
    return "".join(_wrap(name, read(name)) for name in find_parts(first, read))


def _wrap(name: str, text: str) -> str:
    exported = _EXPORT.findall(text)
    for names in _EXPORT_LIST.findall(text):
        exported += [one.strip() for one in names.split(",") if one.strip()]
    body = _COMMENT.sub("", _IMPORT.sub(_take, _EXPORT_LIST.sub("", _EXPORT.sub("", text))))
    if open_text := next((line for line in body.splitlines() if line.count("`") % 2), None):
        raise ValueError(f"{name}: a text over several lines is not joined: {open_text}")
    if odd := _ELSE.search(body):
        raise ValueError(f"{name}: this is not joined: {odd[0]}")
    return f"const {_room(name)} = (() => {{\n{body}return {{ {', '.join(exported)} }};\n}})();\n"


def _take(found: re.Match[str]) -> str:
    names = ", ".join(one.strip().replace(" as ", ": ") for one in found[1].split(",") if one.strip())
    return f"const {{ {names} }} = {_room(found[2])};\n"


def _room(name: str) -> str:
    return name.replace(".", "_")
