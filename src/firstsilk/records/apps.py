"""The one Django app: the station's books."""

from django.apps import AppConfig


class RecordsConfig(AppConfig):
    """Registers the books under the label ``records``."""

    name = "firstsilk.records"
    label = "records"
    verbose_name = "The station's books"
    default_auto_field = "django.db.models.BigAutoField"
