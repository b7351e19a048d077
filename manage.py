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
    if alone:
        # Straight to the command: it needs no apps, and setting them up takes longer than finding it.
        from importlib import import_module

        module = import_module(f"testround.paper.management.commands.{sys.argv[1]}")
        module.Command().run_from_argv(sys.argv)
        return
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as refusal:
        # A wrong setting is for whoever set it: a sentence says more than where it was noticed.
        sys.exit(f"{refusal}")


if __name__ == "__main__":
    main()
