"""The way in: runs the command line, and says so where the machine lacks what a library needs."""

from __future__ import annotations

import os
import sys


def run() -> None:
    """Run the command line and exit with its code; says what to install where a system library is missing."""
    try:
        from ownhand.cli.main import main

        code = main()
    except KeyboardInterrupt:  # while it is still loaded: afterwards `main` catches it
        sys.stderr.write("ownhand: stopped.\n")
        code = 130
    except ImportError as error:
        name = next((lib for lib in ("libGL", "libgthread", "libglib") if lib in str(error)), "")
        if not name:
            raise
        sys.stderr.write(
            f"ownhand: opencv-python: the system library {name} is missing. "
            "Install it (Debian, Ubuntu: apt-get install libgl1 libglib2.0-0; Fedora: dnf install mesa-libGL glib2).\n"
        )
        code = 6
    _let_go_of_output()
    sys.exit(code)


def _let_go_of_output() -> None:
    """Drop what cannot be written, which was told: Python would try again at its end, and exit with 120."""
    try:
        sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    run()
