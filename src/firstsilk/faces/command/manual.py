"""What can each command do, on one page that cannot lie?

``python -m firstsilk.faces.command.manual > docs/commands.md`` writes the page from the commands themselves; a test
holds the page to it.
"""

from __future__ import annotations

import sys
from typing import Any

from firstsilk.faces.command.main import ENTRIES, load_command

HEAD = """# Commands

This page is written from the commands themselves: `python -m firstsilk.faces.command.manual > docs/commands.md`.

Exit codes: 0 done, 1 an error or refusal (one clear sentence on standard error), 2 wrong usage. Tables are CSV, XLSX or
Parquet by extension. With `--json` one object goes to standard output. Commands of the year take `--station` and
`--today`.
"""


def write_manual() -> str:
    """The page of all commands, as Markdown."""
    lines = [HEAD]
    for part in dict.fromkeys(entry.part for entry in ENTRIES):
        lines.append(f"\n## {part}\n")
        for entry in ENTRIES:
            if entry.part == part:
                lines += _write_command(entry.name, entry.line, load_command(entry))
    return "\n".join(lines).rstrip() + "\n"


def _write_command(name: str, line: str, command: Any) -> list[str]:
    usage = " ".join(
        [f"firstsilk {name}", *(_usage(one) for one in command.params if one.param_type_name == "argument")]
    )
    told = [f"### {name}", "", f"`{usage}`: {line}{'' if line.endswith('?') else '.'}", ""]
    described = [" ".join(part.split()) for part in (command.help or "").split("\n\n")]
    if described and described[0].lower().rstrip(".") == line.lower():
        described = described[1:]
    told += [part for paragraph in described if paragraph for part in (paragraph, "")]
    rows = [_option(one) for one in command.params if one.param_type_name == "option" and one.name != "help"]
    if rows:
        told += ["| option | meaning |", "|---|---|", *rows, ""]
    return told


def _usage(argument: Any) -> str:
    word = str(argument.metavar or argument.name.upper()).strip("{}[]")
    return word if argument.required else f"[{word}]"


def _option(option: Any) -> str:
    names = ", ".join(f"`{name}`" for name in [*option.opts, *option.secondary_opts])
    default = option.default if option.default not in (None, "", False) and not callable(option.default) else None
    ending = f" Default: {default}." if default is not None and not isinstance(default, bool) else ""
    return f"| {names} | {(option.help or '').strip()}{ending} |"


if __name__ == "__main__":
    sys.stdout.write(write_manual())
