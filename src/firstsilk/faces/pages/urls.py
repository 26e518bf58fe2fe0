"""Which desk page answers which address?"""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
