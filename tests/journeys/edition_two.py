"""The page of the next edition, for the proof that a phone goes over to it whole: every script says of which it is."""

from firstsilk.faces.pocket import views

APP = "2.0.0"
_FILES = {
    name: content + b"\n// the second edition\n" if name.endswith(".js") else content
    for name, content in views._read_files().items()
}
views._read_files = lambda: _FILES  # type: ignore[assignment]
views.__version__ = APP  # type: ignore[attr-defined]
views.pack_file.cache_clear()
views._read_edition.cache_clear()

from firstsilk.station.wsgi import application  # noqa: E402, F401
