from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from testround.kernel.schemas import DOCUMENTS, schema_of


class Command(BaseCommand):
    help = "Print the published JSON Schema of one of the file formats."
    requires_system_checks: tuple[str, ...] = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("document", choices=sorted(DOCUMENTS), help="which file format")

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(json.dumps(schema_of(options["document"]), ensure_ascii=False, indent=2))
