#!/usr/bin/env python3
"""Quarterday's way in. `demo` and `test` need nothing but Python; the other words need the environment."""

import os
import sys

from clinic.project.start import bootstrap


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "clinic.project.settings")
    try:
        from django.core.management import execute_from_command_line  # noqa: PLC0415  `demo` starts without
    except ModuleNotFoundError:
        sys.exit("Django is not installed here. Activate the environment first: . .venv/bin/activate")
    from clinic.project.env import WrongSetting  # noqa: PLC0415  an old Python is told so before it reads this

    try:
        execute_from_command_line(sys.argv)
    except WrongSetting as error:
        sys.exit(f"Quarterday cannot start. {error}")


if __name__ == "__main__":
    if sys.argv[1:2] in (["demo"], ["test"]):
        try:
            bootstrap.run(sys.argv[1], sys.argv[2:])
        except KeyboardInterrupt:
            sys.exit("\nStopped. The same command goes on from here.")
    main()
