"""Static files as a served installation stores them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from django.core.management import call_command


def test_scripts_import_one_another_by_names_with_a_hash(tmp_path: Path, settings: Any) -> None:
    settings.STATIC_ROOT = tmp_path / "static"
    settings.STORAGES = {
        **settings.STORAGES,
        "staticfiles": {"BACKEND": "testround.static_files.HashedFiles"},
    }

    call_command("collectstatic", interactive=False, verbosity=0)

    names = json.loads((tmp_path / "static" / "staticfiles.json").read_text())["paths"]
    queue = names["js/counting_queue.js"].removeprefix("js/")
    page = (tmp_path / "static" / names["js/counting.js"]).read_text()
    assert queue != "counting_queue.js"
    assert f'from "./{queue}"' in page
    assert '"./counting_queue.js"' not in page
