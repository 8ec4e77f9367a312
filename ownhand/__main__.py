"""The way in: checks that the machine has what the libraries need, then runs the command line."""

from __future__ import annotations

import sys


def run() -> None:
    """Run the command line and exit with its code; says what to install where a system library is missing."""
    try:
        import cv2  # noqa: F401
    except ImportError as error:
        name = next((lib for lib in ("libGL", "libgthread", "libglib") if lib in str(error)), "")
        if not name:
            raise
        sys.stderr.write(
            f"ownhand: opencv-python: the system library {name} is missing. "
            "Install it (Debian, Ubuntu: apt-get install libgl1 libglib2.0-0; Fedora: dnf install mesa-libGL glib2).\n"
        )
        sys.exit(6)
    from ownhand.cli.main import main

    sys.exit(main())


if __name__ == "__main__":
    run()
