"""Is the code behind a field compiled once a version, and not again?"""

from __future__ import annotations

import firstsilk.work.analysis.ground as ground
from firstsilk import __version__
from firstsilk.faces.command.compile_ahead import MARK, compile_ahead


def test_it_is_done_once_for_each_version(tmp_path, monkeypatch) -> None:
    models = []
    real = ground.find_ground
    monkeypatch.setattr(ground, "find_ground", lambda *given: models.append(real(*given).model))
    assert compile_ahead(tmp_path)
    assert "smooth surface over field rows and field columns" in models[0]
    assert (tmp_path / MARK).read_text(encoding="utf-8") == __version__
    assert not compile_ahead(tmp_path)
    assert len(models) == 1
    (tmp_path / MARK).write_text("another", encoding="utf-8")
    assert compile_ahead(tmp_path)
    assert len(models) == 2
