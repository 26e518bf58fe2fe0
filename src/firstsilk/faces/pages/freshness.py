"""How does a page say how old the weather is that it rests on? One piece of a template, the same everywhere."""

from __future__ import annotations

from django import template
from django.template.context import RequestContext

from firstsilk.faces.pages.desk import make_occasion
from firstsilk.work.climate.freshness import read_reading_age

register = template.Library()


@register.inclusion_tag("field/reading_age.html", takes_context=True)
def reading_age(context: RequestContext, site: str = "") -> dict[str, object]:
    """The age of the last reading of a site, or of the season's site: quiet where fresh, a caution where old."""
    request = context["request"]
    return {"age": read_reading_age(make_occasion(request), site)}
