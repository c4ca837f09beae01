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
    try:
        execute_from_command_line(sys.argv)
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever reads, such as head, has enough. Python would complain again as it closes the output.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)


if __name__ == "__main__":
    main()
