from __future__ import annotations

import json
from typing import Any

from django.core.management.base import BaseCommand, CommandParser

from testround.api.schemas import SCHEMAS


class Command(BaseCommand):
    help = "Print the published JSON Schema of one of the file formats."
    requires_system_checks = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("document", choices=sorted(SCHEMAS), help="which file format")

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(json.dumps(SCHEMAS[options["document"]](), ensure_ascii=False, indent=2))
