"""An erratum may say which other it puts right; and what is published is kept from every kind of writing.

The triggers of 0004 held what an erratum says. These hold the whole row: it is not deleted or replaced, none of its
columns changes, and who stands behind it (``round``, ``published_by``) can only be set to null, as when a round or an
account is deleted. A draft can only put right what is published of its own pattern.

On SQLite a later migration that rebuilds the table drops the triggers with it: it calls ``drop`` before and
``create`` after. Tests hold that they are there.
"""

import importlib

import django.db.models.deletion
from django.db import migrations, models

CHANGED = "a published erratum is never changed"
REMOVED = "a published erratum is never removed"
CORRECTS = "an erratum puts right a published one of its own pattern"
KEPT = [
    "id",
    "pattern_id",
    "edition_id",
    "number",
    "place",
    "sizes",
    "changes",
    "text",
    "why",
    "corrects_id",
    "created",
    "published_at",
]
# Triggers by name, with what each is for after its name in either database.
SQLITE = {
    "erratum_published_stays": f"""BEFORE UPDATE OF {", ".join(KEPT)} ON errata_erratum
        WHEN OLD.published_at IS NOT NULL
        BEGIN SELECT RAISE(ABORT, '{CHANGED}'); END""",
    "erratum_published_lets_go": f"""BEFORE UPDATE OF round_id, published_by_id ON errata_erratum
        WHEN OLD.published_at IS NOT NULL AND (
            (NEW.round_id IS NOT NULL AND NEW.round_id IS NOT OLD.round_id)
            OR (NEW.published_by_id IS NOT NULL AND NEW.published_by_id IS NOT OLD.published_by_id))
        BEGIN SELECT RAISE(ABORT, '{CHANGED}'); END""",
    "erratum_published_is_kept": f"""BEFORE DELETE ON errata_erratum
        WHEN OLD.published_at IS NOT NULL
        BEGIN SELECT RAISE(ABORT, '{REMOVED}'); END""",
    # INSERT OR REPLACE removes the row it replaces without a DELETE that a trigger would see.
    "erratum_published_not_replaced": f"""BEFORE INSERT ON errata_erratum
        WHEN EXISTS (
            SELECT 1 FROM errata_erratum WHERE published_at IS NOT NULL
            AND (id = NEW.id OR (pattern_id = NEW.pattern_id AND number = NEW.number)))
        BEGIN SELECT RAISE(ABORT, '{CHANGED}'); END""",
    **{
        f"erratum_corrects_on_{event}": f"""BEFORE {event.upper()} ON errata_erratum
        WHEN NEW.corrects_id IS NOT NULL AND NOT EXISTS (
            SELECT 1 FROM errata_erratum WHERE id = NEW.corrects_id
            AND pattern_id = NEW.pattern_id AND published_at IS NOT NULL)
        BEGIN SELECT RAISE(ABORT, '{CORRECTS}'); END"""
        for event in ("insert", "update")
    },
}
POSTGRESQL_FUNCTIONS = {
    "erratum_published_stays": f"""
        BEGIN RAISE EXCEPTION '{CHANGED}' USING ERRCODE = 'integrity_constraint_violation'; END""",
    "erratum_published_is_kept": f"""
        BEGIN RAISE EXCEPTION '{REMOVED}' USING ERRCODE = 'integrity_constraint_violation'; END""",
    "erratum_published_not_emptied": f"""
        BEGIN
            IF EXISTS (SELECT 1 FROM errata_erratum WHERE published_at IS NOT NULL) THEN
                RAISE EXCEPTION '{REMOVED}' USING ERRCODE = 'integrity_constraint_violation';
            END IF;
            RETURN NULL;
        END""",
    "erratum_corrects": f"""
        BEGIN
            IF NOT EXISTS (
                SELECT 1 FROM errata_erratum WHERE id = NEW.corrects_id
                AND pattern_id = NEW.pattern_id AND published_at IS NOT NULL
            ) THEN
                RAISE EXCEPTION '{CORRECTS}' USING ERRCODE = 'integrity_constraint_violation';
            END IF;
            RETURN NEW;
        END""",
}
POSTGRESQL = {
    "erratum_published_stays": f"""BEFORE UPDATE OF {", ".join(KEPT)} ON errata_erratum
        FOR EACH ROW WHEN (OLD.published_at IS NOT NULL) EXECUTE FUNCTION erratum_published_stays()""",
    "erratum_published_lets_go": """BEFORE UPDATE OF round_id, published_by_id ON errata_erratum
        FOR EACH ROW WHEN (OLD.published_at IS NOT NULL AND (
            (NEW.round_id IS NOT NULL AND NEW.round_id IS DISTINCT FROM OLD.round_id)
            OR (NEW.published_by_id IS NOT NULL AND NEW.published_by_id IS DISTINCT FROM OLD.published_by_id)))
        EXECUTE FUNCTION erratum_published_stays()""",
    "erratum_published_is_kept": """BEFORE DELETE ON errata_erratum
        FOR EACH ROW WHEN (OLD.published_at IS NOT NULL) EXECUTE FUNCTION erratum_published_is_kept()""",
    "erratum_published_not_emptied": """BEFORE TRUNCATE ON errata_erratum
        FOR EACH STATEMENT EXECUTE FUNCTION erratum_published_not_emptied()""",
    "erratum_corrects": """BEFORE INSERT OR UPDATE ON errata_erratum
        FOR EACH ROW WHEN (NEW.corrects_id IS NOT NULL) EXECUTE FUNCTION erratum_corrects()""",
}


def create(apps, schema_editor):
    match schema_editor.connection.vendor:
        case "sqlite":
            for name, rest in SQLITE.items():
                schema_editor.execute(f"CREATE TRIGGER {name} {rest}")
        case "postgresql":
            for name, body in POSTGRESQL_FUNCTIONS.items():
                schema_editor.execute(
                    f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $${body} $$"
                )
            for name, rest in POSTGRESQL.items():
                schema_editor.execute(f"CREATE TRIGGER {name} {rest}")


def drop(apps, schema_editor):
    match schema_editor.connection.vendor:
        case "sqlite":
            for name in SQLITE:
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}")
        case "postgresql":
            for name in POSTGRESQL:
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON errata_erratum")


def as_before(apps, schema_editor):
    importlib.import_module("testround.errata.migrations.0004_published_errata_stay").create(apps, schema_editor)


class Migration(migrations.Migration):
    dependencies = [("errata", "0005_longer_finding_id")]

    operations = [
        migrations.RunPython(drop, as_before),
        migrations.AddField(
            model_name="erratum",
            name="corrects",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="corrected_by",
                to="errata.erratum",
            ),
        ),
        migrations.AddConstraint(
            model_name="erratum",
            constraint=models.CheckConstraint(
                condition=models.Q(("corrects__isnull", True), models.Q(("corrects", models.F("id")), _negated=True), _connector="OR"),
                name="erratum_corrects_another",
            ),
        ),
        migrations.RunPython(create, drop),
    ]
