"""What a command does not need is not loaded, not asked for, and not waited for."""

from __future__ import annotations

import subprocess
import sys
from functools import partial
from pathlib import Path

import numpy as np

from fontbuild.formats.ufo import save_ufo
from fontbuild.variants import AttemptStrokes, variants_of
from ownhand.commands.side_by_side import side_by_side
from ownhand.composer.plot import motion
from ownhand.subprocesses import processes
from tests.ownhand.hershey_font import hershey_font

ROOT = Path(__file__).parents[2]


def loaded(*command: str) -> set[str]:
    """Return the names of the modules that a command loads."""
    code = (
        "import sys\nfrom ownhand.cli.main import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit:\n    pass\nprint('\\n'.join(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *command], cwd=ROOT, capture_output=True, text=True, check=True
    )  # fmt: skip
    return set(done.stderr.split())


def test_a_command_stopped_while_it_is_loaded_ends_with_one_line():
    code = (
        "import sys\nfrom ownhand.__main__ import run\n"
        "class Stopped:\n"
        "    def find_spec(self, name, *_):\n"
        "        if name == 'click':\n            raise KeyboardInterrupt\n"
        "sys.meta_path.insert(0, Stopped())\nrun()"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)

    assert (done.returncode, done.stdout, done.stderr) == (130, "", "ownhand: stopped.\n")


def test_help_loads_neither_numbers_nor_pictures():
    modules = loaded("--help")

    assert "click" in modules
    assert not modules & {"numpy", "cv2", "scipy", "PIL", "rich", "numba", "fontTools"}


def test_a_word_is_written_without_the_builder_the_tracer_or_statistics(tmp_path):
    font = save_ufo(hershey_font(), tmp_path / "museum.ufo")

    modules = loaded("write", str(font), "x", "-o", str(tmp_path / "x.svg"))

    assert (tmp_path / "x.svg").exists() and (tmp_path / "x.png").exists()
    assert "ownhand.composer.composer" in modules
    unneeded = {"fontbuild.build", "ownhand.commands.build", "skeleton.api", "numba", "scipy.special", "ufo2ft", "ssl"}
    assert not modules & unneeded, modules & unneeded


def test_the_shortest_order_is_sought_only_when_it_is_asked_for(tmp_path, monkeypatch):
    from ownhand.cli.main import main

    font = save_ufo(hershey_font(), tmp_path / "museum.ufo")
    asked = []
    monkeypatch.setattr(motion, "least_travel", lambda page: asked.append(page) or page)

    assert main(["write", str(font), "the lamp was lit", "-o", str(tmp_path / "x.svg")]) == 0
    assert asked == []


def test_letters_fitted_in_processes_are_the_letters_fitted_one_after_the_other():
    rng = np.random.default_rng(3)
    bow = np.column_stack([np.linspace(0, 3, 40), np.sin(np.linspace(0, 3, 40))])
    letters = {
        char: [
            AttemptStrokes(f"{char}{k}", char, (bow + rng.normal(0, 0.02, bow.shape),), "", 1.0, 0.4) for k in (1, 2)
        ]
        for char in "nu"
    }

    fit = partial(variants_of, x_height_mm=3.0)
    with processes(2) as pool:
        made = dict(zip(letters, side_by_side(pool)(fit, letters.items()), strict=True))

    for char, group in letters.items():
        for one, other in zip(made[char], variants_of(char, group, x_height_mm=3.0), strict=True):
            assert [s.tobytes() for s in one.strokes] == [s.tobytes() for s in other.strokes]
