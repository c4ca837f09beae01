#!/usr/bin/env python
"""Runs the project's commands; ``manage.py help`` lists them."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit(
            "Django is not installed for this Python. Use the project's environment: "
            ".venv/bin/python manage.py …, made by the first command in README.md."
        )
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
