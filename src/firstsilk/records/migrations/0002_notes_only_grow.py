"""The database itself refuses to change or delete a note or a movement."""

from django.db import migrations

TABLES = {
    "records_note": "A note is never changed or deleted; write a new note that replaces it.",
    "records_noteaside": "What was laid aside is never changed or deleted.",
    "records_movement": "A movement is never changed or deleted; add one that puts it right.",
}


def only_grow(tables):
    """The operation that makes tables refuse changes and deletions, each with its sentence; later migrations use it."""

    def forbid_change(apps, schema_editor):
        with schema_editor.connection.cursor() as cursor:
            for table, sentence in tables.items():
                for verb in ("UPDATE", "DELETE"):
                    _forbid(cursor, schema_editor.connection.vendor, table, verb, sentence)

    def allow_change(apps, schema_editor):
        with schema_editor.connection.cursor() as cursor:
            for table in tables:
                for verb in ("UPDATE", "DELETE"):
                    _allow(cursor, schema_editor.connection.vendor, table, verb)

    return migrations.RunPython(forbid_change, allow_change)


def _forbid(cursor, vendor, table, verb, sentence):
    name = f"{table}_no_{verb.lower()}"
    if vendor == "sqlite":
        cursor.execute(f"CREATE TRIGGER {name} BEFORE {verb} ON {table} BEGIN SELECT RAISE(ABORT, '{sentence}'); END")
    else:
        cursor.execute(
            f"CREATE FUNCTION {name}() RETURNS trigger AS $$ BEGIN RAISE EXCEPTION '{sentence}'; END $$ LANGUAGE plpgsql"
        )
        cursor.execute(f"CREATE TRIGGER {name} BEFORE {verb} ON {table} FOR EACH ROW EXECUTE FUNCTION {name}()")


def _allow(cursor, vendor, table, verb):
    name = f"{table}_no_{verb.lower()}"
    if vendor == "sqlite":
        cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
    else:
        cursor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}")
        cursor.execute(f"DROP FUNCTION IF EXISTS {name}()")


class Migration(migrations.Migration):
    dependencies = [("records", "0001_books")]

    operations = [only_grow(TABLES)]
