"""Does `firstsilk stability --pictures` write its pictures, say who is best where, and leave the answer as it is?"""

from __future__ import annotations

import json

from tests.faces.calling import call, one_object, write
from tests.faces.test_stability_door import GOOD

NAMES = ("best-places", "lines", "interaction")


def test_pictures_are_written_each_with_its_specification_and_the_answer_is_the_same(tmp_path, capsys) -> None:
    means, folder = write(tmp_path, GOOD, "means.csv"), tmp_path / "new" / "pictures"
    code, plain, _ = call(capsys, "stability", means, "--mse", "0.5")
    assert code == 0
    code, out, err = call(capsys, "stability", means, "--mse", "0.5", "--pictures", folder, "--unit", "t/ha")
    assert code == 0, err
    assert one_object(out) == one_object(plain)
    assert sorted(one.name for one in folder.iterdir()) == sorted(f"{n}.{k}" for n in NAMES for k in ("svg", "vl.json"))
    for name in NAMES:
        svg = (folder / f"{name}.svg").read_text(encoding="utf-8")
        assert svg.startswith("<svg")
        spec = json.loads((folder / f"{name}.vl.json").read_text(encoding="utf-8"))
        assert spec["$schema"].endswith("v5.json")
        assert spec["layer"]
    assert "t/ha" in (folder / "lines.svg").read_text(encoding="utf-8")
    assert "the chance that it is truly the best there is" in err


def test_the_same_seed_gives_the_same_bytes(tmp_path, capsys) -> None:
    means = write(tmp_path, GOOD, "means.csv")
    for name in ("a", "b"):
        assert call(capsys, "stability", means, "--mse", "0.5", "--pictures", tmp_path / name)[0] == 0
    for one in (tmp_path / "a").iterdir():
        assert one.read_bytes() == (tmp_path / "b" / one.name).read_bytes()


def test_without_an_error_how_sure_is_not_said(tmp_path, capsys) -> None:
    _, _, err = call(capsys, "stability", write(tmp_path, GOOD, "means.csv"), "--pictures", tmp_path / "p")
    assert "how sure cannot be told" in err


def test_a_folder_that_is_a_file_is_refused_before_any_work(tmp_path, capsys) -> None:
    code, out, err = call(capsys, "stability", tmp_path / "absent.csv", "--pictures", write(tmp_path, "x", "file.txt"))
    assert (code, out) == (1, "")
    assert "this is no folder" in err
