"""A client of the API as other people's programs have one: generated from the OpenAPI document."""

from __future__ import annotations

import importlib
import json
import pkgutil
import subprocess
import sys
import typing
import uuid
from pathlib import Path
from types import ModuleType
from typing import Any

import httpx
from django.core.handlers.wsgi import WSGIHandler

from testround.api.openapi import document

PACKAGE = "testround_client"


def generate(folder: Path) -> str:
    """Generate the client into a folder, and say what the generator had to leave out."""
    (folder / "openapi.json").write_text(json.dumps(document()))
    (folder / "config.yml").write_text("post_hooks: []\n")
    made = subprocess.run(
        [
            Path(sys.executable).with_name("openapi-python-client"),
            "generate",
            "--meta=none",
            f"--path={folder / 'openapi.json'}",
            f"--config={folder / 'config.yml'}",
            f"--output-path={folder / PACKAGE}",
        ],
        capture_output=True,
        text=True,
        cwd=folder,
    )
    assert made.returncode == 0, made.stdout + made.stderr
    return made.stdout + made.stderr


class GeneratedClient:
    """The generated functions by their operationId, as one person; each answer is what the client read it as."""

    def __init__(self, folder: Path, token: str) -> None:
        if str(folder) not in sys.path:
            sys.path.insert(0, str(folder))
        package = importlib.import_module(PACKAGE)
        self.client = package.AuthenticatedClient(
            base_url="http://testserver",
            token=token,
            raise_on_unexpected_status=True,
            httpx_args={"transport": httpx.WSGITransport(app=WSGIHandler())},  # type: ignore[arg-type]
        )
        self.modules = _operations(f"{PACKAGE}.api")

    def __call__(self, name: str, *path: Any, body: Any = None, match: str = "") -> dict[str, Any]:
        """Call an operation that succeeds; a POST has a new key, and a change the tag that is given."""
        function = self.modules[name].sync_detailed
        wanted = typing.get_type_hints(function)
        named: dict[str, Any] = {}
        if body is not None:
            kinds = [
                kind
                for kind in (wanted["body"], *typing.get_args(wanted["body"]))
                if hasattr(kind, "from_dict")
            ]
            named["body"] = kinds[0].from_dict(body)
        if "idempotency_key" in wanted:
            named["idempotency_key"] = str(uuid.uuid4())
        if "if_match" in wanted:
            named["if_match"] = match
        answer = function(*path, client=self.client, **named)
        assert answer.status_code < 300, answer.content
        read: dict[str, Any] = answer.parsed.to_dict()
        # Nothing of the answer was passed over or read as something else.
        assert read.keys() == json.loads(answer.content).keys()
        return read

    def tag(self, name: str, *path: Any) -> str:
        """The tag of what an operation reads."""
        answer = self.modules[name].sync_detailed(*path, client=self.client)
        return str(answer.headers["ETag"])


def _operations(package: str) -> dict[str, ModuleType]:
    root = importlib.import_module(package)
    return {
        module.name.rpartition(".")[2]: importlib.import_module(module.name)
        for module in pkgutil.walk_packages(root.__path__, f"{package}.")
        if not module.ispkg
    }
