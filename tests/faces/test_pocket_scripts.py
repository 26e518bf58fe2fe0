"""The page's scripts travel as one file: every script is in it once, and a form that cannot be joined is an error."""

from __future__ import annotations

import re

import pytest

from firstsilk.faces.pocket import views
from firstsilk.faces.pocket.scripts import find_parts, join_scripts

ALONE = {"scan_worker.js", "zxing_reader.js"}
"""Scripts that a worker loads by itself: another worker than those that are joined."""


@pytest.mark.parametrize("first", views.JOINED)
def test_each_script_stands_once_and_after_those_that_it_needs(first: str) -> None:
    parts = find_parts(first, views._read_script)
    assert parts[-1] == first
    assert len(parts) == len(set(parts))
    for at, part in enumerate(parts):
        asked = re.findall(r'^import .* from "\./(.*)";$', views._read_script(part), re.MULTILINE)
        assert set(asked) <= set(parts[:at]), part


def test_every_script_is_on_the_phone() -> None:
    scripts = {path.name for path in views.FOLDER.glob("*.js")}
    joined = {part for first in views.JOINED for part in find_parts(first, views._read_script)}
    assert scripts - joined == ALONE
    held = {name for name in views._read_files() if name.endswith(".js")}
    assert held == {*views.JOINED, *ALONE}


def test_no_line_of_a_script_is_lost_but_comments_imports_and_exports() -> None:
    text = join_scripts("app.js", views._read_script)
    lines = set(text.splitlines())
    for part in find_parts("app.js", views._read_script):
        for line in views._read_script(part).splitlines():
            if not re.match(r"import \{|export \{|\s*(//|/\*\*| \*)", line):
                assert line.removeprefix("export ") in lines, (part, line)


def test_lines_that_are_comments_stay_at_the_station_and_nothing_else_of_them() -> None:
    text = '// What?\n\n/** Told\n * twice. */\nconst a = 1; // kept\n  /** in */\nconst b = "/* no */";\n'
    joined = join_scripts("a.js", {"a.js": text}.__getitem__)
    assert joined == 'const a_js = (() => {\n\nconst a = 1; // kept\nconst b = "/* no */";\nreturn {  };\n})();\n'
    assert not re.search(r"^\s*(//|/\*| \*)", join_scripts("app.js", views._read_script), re.MULTILINE)


def test_what_a_script_exports_is_given_back_under_the_name_it_is_asked_by() -> None:
    texts = {
        "a.js": 'import { two as both, one } from "./b.js";\nboth(one);\n',
        "b.js": "const kept = 3;\nexport const one = 1;\nexport async function two() {}\nexport { kept };\n",
    }
    assert join_scripts("a.js", texts.__getitem__) == (
        "const b_js = (() => {\nconst kept = 3;\nconst one = 1;\nasync function two() {}\n"
        "return { one, two, kept };\n})();\n"
        "const a_js = (() => {\nconst { two: both, one } = b_js;\nboth(one);\nreturn {  };\n})();\n"
    )


@pytest.mark.parametrize(
    "line",
    [
        'import "./b.js";',
        'import * as all from "./b.js";',
        'import one from "./b.js";',
        "export default 3;",
        "export let changing = 1;",
        'export { one } from "./b.js";',
        "const text = `one",
    ],
)
def test_a_form_that_is_not_joined_is_an_error(line: str) -> None:
    texts = {"a.js": f"{line}\n", "b.js": "export const one = 1;\n"}
    with pytest.raises(ValueError, match=re.escape(line)):
        join_scripts("a.js", texts.__getitem__)


def test_scripts_that_import_each_other_are_an_error_that_names_the_ring() -> None:
    texts = {"a.js": 'import { b } from "./b.js";\n', "b.js": 'import { a } from "./a.js";\n'}
    with pytest.raises(ValueError, match=r"a\.js -> b\.js -> a\.js"):
        join_scripts("a.js", texts.__getitem__)
