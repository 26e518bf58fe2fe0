"""Do the look-up pages say what the program does?"""

from __future__ import annotations

import re
from pathlib import Path

from firstsilk.faces.command.main import ENTRIES
from firstsilk.faces.command.manual import write_manual

PROJECT = Path(__file__).resolve().parents[2]


def test_page_of_commands_is_the_one_the_commands_write() -> None:
    written = (PROJECT / "docs" / "commands.md").read_text(encoding="utf-8")
    assert written == write_manual(), "run: python -m firstsilk.faces.command.manual > docs/commands.md"


def test_every_link_between_our_pages_leads_somewhere() -> None:
    pages = [*PROJECT.glob("*.md"), *(PROJECT / "docs").glob("*.md"), *(PROJECT / "decisions").glob("*.md")]
    broken = []
    for page in pages:
        for target in re.findall(r"\]\(([^)#]+)[^)]*\)", page.read_text(encoding="utf-8")):
            if not target.startswith("http") and not (page.parent / target).exists():
                broken.append(f"{page.name}: {target}")
    assert broken == []


def test_readme_names_only_commands_that_exist() -> None:
    known = {entry.name for entry in ENTRIES}
    text = (PROJECT / "README.md").read_text(encoding="utf-8")
    named = set(re.findall(r"^\s*(?:\$ )?firstsilk ([a-z-]+)", text, flags=re.MULTILINE))
    assert named <= known


def test_contributing_stays_under_150_lines() -> None:
    assert len((PROJECT / "CONTRIBUTING.md").read_text(encoding="utf-8").splitlines()) < 150


def test_every_decision_says_its_status_context_decision_and_consequences() -> None:
    for page in sorted((PROJECT / "decisions").glob("*.md")):
        text = page.read_text(encoding="utf-8")
        for part in ("Status:", "**Context.**", "**Decision.**", "**Consequences.**"):
            assert part in text, f"{page.name} lacks {part}"
