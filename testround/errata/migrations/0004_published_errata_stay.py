"""A trigger that keeps published errata as they are, whoever writes to the table.

What may still change is who stands behind it: ``round`` and ``published_by`` are set to null when a round or an
account is deleted. On SQLite a later migration that rebuilds the table drops the trigger with it and has to
create it again; a test holds that it is there.
"""

from django.db import migrations

SENTENCE = "a published erratum is never changed"
COLUMNS = ["pattern_id", "edition_id", "number", "place", "sizes", "changes", "text", "why", "published_at"]

SQLITE = f"""
CREATE TRIGGER erratum_published_stays BEFORE UPDATE OF {", ".join(COLUMNS)} ON errata_erratum
WHEN OLD.published_at IS NOT NULL
BEGIN SELECT RAISE(ABORT, '{SENTENCE}'); END
"""

POSTGRESQL = f"""
CREATE FUNCTION erratum_published_stays() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '{SENTENCE}' USING ERRCODE = 'integrity_constraint_violation';
END $$;
CREATE TRIGGER erratum_published_stays BEFORE UPDATE OF {", ".join(COLUMNS)} ON errata_erratum
FOR EACH ROW WHEN (OLD.published_at IS NOT NULL) EXECUTE FUNCTION erratum_published_stays()
"""


def create(apps, schema_editor):
    match schema_editor.connection.vendor:
        case "sqlite":
            schema_editor.execute(SQLITE)
        case "postgresql":
            schema_editor.execute(POSTGRESQL)


def drop(apps, schema_editor):
    match schema_editor.connection.vendor:
        case "sqlite":
            schema_editor.execute("DROP TRIGGER IF EXISTS erratum_published_stays")
        case "postgresql":
            schema_editor.execute("DROP TRIGGER IF EXISTS erratum_published_stays ON errata_erratum")
            schema_editor.execute("DROP FUNCTION IF EXISTS erratum_published_stays()")


class Migration(migrations.Migration):
    dependencies = [("errata", "0003_erratum_changes_and_remarks")]

    operations = [migrations.RunPython(create, drop)]
