"""The database itself refuses to change or delete the close of a day, or what became of something laid aside."""

from importlib import import_module

from django.db import migrations

TABLES = {
    "records_dayclose": "The close of a day is never changed or deleted.",
    "records_asidesettled": "What became of something laid aside is never changed or deleted.",
}

only_grow = import_module("firstsilk.records.migrations.0002_notes_only_grow").only_grow


class Migration(migrations.Migration):
    dependencies = [("records", "0006_indexes")]

    operations = [only_grow(TABLES)]
