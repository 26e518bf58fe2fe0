"""A planted fault: a page that keeps its notes in the database alone. It proves that the kill loop can fail."""

from firstsilk.faces.pocket import views

_TRUE = views._read_files()["log_worker.js"].decode("utf-8")
_KEEPS = "function append(lines) {\n"
_FORGETS = _KEEPS + "  lines = lines.filter((line) => !line.includes('note'));\n"
assert _KEEPS in _TRUE
_FILES = {**views._read_files(), "log_worker.js": _TRUE.replace(_KEEPS, _FORGETS).encode("utf-8")}
views._read_files = lambda: _FILES  # type: ignore[assignment]

from firstsilk.station.wsgi import application  # noqa: E402, F401
