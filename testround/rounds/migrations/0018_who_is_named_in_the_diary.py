"""Entries so far are in English: who is named in them, and what they say without a reason, is read from that."""

import re

from django.db import migrations

NAMED = (
    re.compile(r"^Place offered: (.+?), (?:size |made to measure)"),
    re.compile(r"^Invitation for (.+?) (?:made|withdrawn)"),
    re.compile(r"name from “(.+?)” to “"),
    re.compile(r"name from “.+?” to “(.+?)”"),
)


def read_entries(apps, schema_editor):
    Entry = apps.get_model("rounds", "DiaryEntry")
    for entry in Entry.objects.order_by("pk").iterator(chunk_size=500):
        names = [found for said in NAMED for found in said.findall(entry.text)]
        sentence, colon, _reason = entry.text.partition(":")
        without = f"{sentence}." if colon and " moved from " in sentence else ""
        if names or without:
            entry.names, entry.without_reason = list(dict.fromkeys(names)), without
            entry.save(update_fields=["names", "without_reason"])


class Migration(migrations.Migration):
    dependencies = [("rounds", "0017_states_in_words")]
    operations = [migrations.RunPython(read_entries, migrations.RunPython.noop, elidable=True)]
