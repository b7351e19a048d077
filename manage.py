#!/usr/bin/env python
"""Testround's command line: the main job, the server and everything about them."""

import os
import sys

ON_A_FILE = ("analyse", "assign", "worksheet")
"""Commands that take a round file and nothing else: loading the server would take longer than their work."""


def main() -> None:
    alone = sys.argv[1:2] and sys.argv[1] in ON_A_FILE
    os.environ.setdefault(
        "DJANGO_SETTINGS_MODULE", "testround.paper.alone" if alone else "testround.settings"
    )
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as refusal:
        # A wrong setting is for whoever set it: a sentence says more than where it was noticed.
        sys.exit(f"{refusal}")


if __name__ == "__main__":
    main()
