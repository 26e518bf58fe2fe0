"""How does a value look on a page? Template filters, few and the same everywhere."""

from django import template

register = template.Library()
