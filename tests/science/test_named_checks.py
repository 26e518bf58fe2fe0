"""Is every test that a docstring or a page of the manual names really there?"""

from __future__ import annotations

import re
from pathlib import Path

PROJECT = Path(__file__).parents[2]
NAMED = re.compile(r"tests/[a-z_]+/[a-z_0-9]+\.py")


def test_every_test_that_is_named_is_there() -> None:
    texts = [*(PROJECT / "src").rglob("*.py"), *(PROJECT / "docs").glob("*.md"), *PROJECT.glob("*.md")]
    named = {(name, path.name) for path in texts for name in NAMED.findall(path.read_text(encoding="utf-8"))}
    assert len(named) > 50
    assert sorted(pair for pair in named if not (PROJECT / pair[0]).is_file()) == []
