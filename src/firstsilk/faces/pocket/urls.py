"""Which pocket page or sync door answers which address?"""

from django.urls import path, re_path

from firstsilk.faces.pages.desk import open_page
from firstsilk.faces.pocket.api import answer_elsewhere, api, give_one_shape
from firstsilk.faces.pocket.views import give_file, give_manifest, give_reader, give_service_worker, show_page

_doors, _app, _space = api.urls
for _door in _doors:
    _door.callback = give_one_shape(_door.callback)

# The page and its files are open: they hold nothing of the station. The door asks for a phone's token.
urlpatterns = [
    open_page("", show_page, "pocket"),
    open_page("sw.js", give_service_worker, "pocket-worker"),
    open_page("manifest.json", give_manifest, "pocket-manifest"),
    open_page("own/scan_worker.js", give_reader, "pocket-reader"),
    open_page("own/<str:name>", give_file, "pocket-file"),
    path("api/v1/", (_doors, _app, _space)),
    re_path("api/v(?P<rest>.*)", answer_elsewhere),
]
