"""Which address leads to which room?"""

from django.urls import include, path

urlpatterns = [
    path("pocket/", include("firstsilk.faces.pocket.urls")),
    path("", include("firstsilk.faces.pages.urls")),
]
