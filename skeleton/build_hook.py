"""The tracer's loops compiled while a wheel is built, so that the first `read` after an installation need not.

Hatchling calls this (`pyproject.toml`, tool.hatch.build.hooks.custom). The wheel then holds the loops for the Python
and numba it was built with and is marked for this kind of machine; with any other numba they are compiled at the first
`read` as if there were none. Where compiling fails the wheel is built without them, and says so.
`HATCH_BUILD_NO_HOOKS=true` leaves them out.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

LONGEST_S = 900
"""Seconds after which compiling counts as failed; usual are 80 of one core."""


class CustomBuildHook(BuildHookInterface):  # type: ignore[type-arg]
    """Adds `skeleton/compiled` to a wheel."""

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile the loops into a folder and have its files put into the wheel.

        version, build_data: as hatchling gives them (its custom build hooks).
        """
        if self.target_name != "wheel" or version == "editable":
            return
        self._folder = tempfile.TemporaryDirectory(prefix="ownhand-compiled-")
        environment = os.environ | {"PYTHONPATH": os.pathsep.join([self.root, *(p for p in sys.path if p)])}
        command = [sys.executable, "-m", "skeleton.precompile", "--into", self._folder.name]
        self.app.display_info("compiling the tracer, about a minute")
        try:
            done = subprocess.run(
                command, cwd=self.root, env=environment, capture_output=True, text=True, timeout=LONGEST_S, check=False
            )
            said = done.stderr.strip().rpartition("\n")[2]
        except (OSError, subprocess.TimeoutExpired) as error:
            said = f"{type(error).__name__}: {error}"
        folder = Path(self._folder.name)
        files = [file for file in sorted(folder.rglob("*")) if file.is_file()]
        if not files:
            self.app.display_warning(f"the tracer is compiled at the first reading instead: {said}")
            return
        for file in files:
            build_data["force_include"][str(file)] = f"skeleton/compiled/{file.relative_to(folder).as_posix()}"
        build_data["pure_python"] = False
        build_data["infer_tag"] = True

    def finalize(self, version: str, build_data: dict[str, Any], artifact_path: str) -> None:
        """Remove the folder.

        version, build_data, artifact_path: as hatchling gives them.
        """
        if hasattr(self, "_folder"):
            self._folder.cleanup()
