"""Which pocket page or sync door answers which address?"""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
