"""Compiled loops: where they are kept, and that nothing old, damaged or unkept is ever run or lost."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from capture.user_cache import FOLDER_VARIABLE
from skeleton import loop_types, loop_versions, precompile
from skeleton.geometry import jit, loop_store

ROOT = Path(__file__).resolve().parents[2]

LOOPS = """
import numpy as np
from skeleton.geometry.jit import compiled, inner

TIMES = 2.0

@inner
def doubled(x):
    return TIMES * x

@compiled
def total(values):
    s = 0.0
    for v in values:
        s += doubled(v)
    return s

@compiled("float64(float64)")
def half(x):
    return 0.5 * x
"""


@pytest.fixture
def module(tmp_path, monkeypatch):
    """A package of loops beside ours, whose folder of compiled loops is new."""
    package = tmp_path / "made" / "skeleton"
    package.mkdir(parents=True)
    (package / "small_loops.py").write_text(LOOPS)
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path / "cache"))
    return package / "small_loops.py"


RUN = """
import sys
from pathlib import Path

import numpy as np

import skeleton
from skeleton.geometry import jit, loop_store

skeleton.__path__.append(str(Path(sys.argv[1]).parent))
from skeleton import small_loops

found = [small_loops.total(np.arange(4.0)), small_loops.half(3)]
print(*found, sum(loop._cache_misses.total() for loop in jit.LOOPS.values()), len(loop_store.unkept))
"""


def run(module: Path, **environment: str) -> list[float]:
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(module)], cwd=ROOT, capture_output=True, text=True, check=False,
        # Python's own compiled files go by date and size: an edited module would be run as it was
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONDONTWRITEBYTECODE": "1"} | environment,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return [float(word) for word in done.stdout.split()]


def test_loops_are_compiled_once_and_an_edited_one_anew_whatever_its_date(module):
    assert run(module) == [12.0, 1.5, 3, 0]
    assert run(module) == [12.0, 1.5, 0, 0]

    before = module.stat()
    module.write_text(LOOPS.replace("TIMES = 2.0", "TIMES = 3.0"))
    os.utime(module, ns=(before.st_atime_ns, before.st_mtime_ns))

    assert run(module) == [18.0, 1.5, 2, 0], "what does not use the edited constant stays"


def test_a_damaged_file_is_compiled_again(module, tmp_path):
    run(module)
    for file in (tmp_path / "cache").rglob(f"*{loop_store.ENDING}"):
        file.write_bytes(file.read_bytes()[:-7] + b"rubbish")

    assert run(module) == [12.0, 1.5, 3, 0]


def test_where_nothing_can_be_kept_loops_are_compiled_in_memory(module, tmp_path):
    blocked = tmp_path / "a file"
    blocked.write_text("no folder")

    total, half, misses, unkept = run(module, **{FOLDER_VARIABLE: str(blocked)})

    assert (total, half, misses) == (12.0, 1.5, 3) and unkept > 0


def test_the_list_of_loops_holds_every_loop_with_types_that_can_be_read():
    # in a process of its own: other tests of this one may have made loops too
    check = "from tests.skeleton.test_precompile import check_list; check_list()"
    done = subprocess.run([sys.executable, "-c", check], cwd=ROOT, capture_output=True, text=True, check=False)

    assert done.returncode == 0, done.stderr


def check_list() -> None:
    """Hold the list of loops against the loops there are."""
    listed = json.loads(loop_versions.LIST.read_text())
    versions = loop_versions.versions()

    assert len(versions) == len(listed), "run python -m tests.bench loops --write"
    for version in versions:
        if version.types is not None:
            types = [loop_types.read(t) for t in version.types]
            assert json.loads(json.dumps([loop_types.written(t) for t in types])) == version.types
    assert {v.loop for v in versions} == set(jit.LOOPS), "run python -m tests.bench loops --write"


def test_reading_compiles_nothing_that_was_not_prepared():
    import skeleton
    from sample_sheets.loose import loose_characters

    precompile.prepare()
    before = {name: dispatcher._cache_misses.total() for name, dispatcher in jit.LOOPS.items()}
    for loose in loose_characters("ag", 2, seed=5):
        skeleton.read_character(loose.grey, 300, loose.char)
        skeleton.read_character(loose.grey, 300, None)

    after = {name: dispatcher._cache_misses.total() for name, dispatcher in jit.LOOPS.items()}
    assert after == before, "run python -m tests.bench loops --write"


def test_a_loop_with_a_signature_takes_whole_numbers_as_the_kind_it_names(module):
    assert run(module)[1] == 1.5


def test_types_that_no_loop_takes_are_refused_when_they_are_listed():
    import numba

    with pytest.raises(TypeError, match="not foreseen"):
        loop_types.written(numba.types.DictType(numba.int64, numba.float64))


def test_the_oldest_files_of_a_full_cache_are_removed(tmp_path, monkeypatch):
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    monkeypatch.setattr(loop_store, "MOST_FILES", 6)
    folder = tmp_path / "loops" / "key"
    folder.mkdir(parents=True)
    for k in range(8):
        file = folder / f"{k}{loop_store.ENDING}"
        file.write_bytes(b"x")
        os.utime(file, (1000 + k, 1000 + k))

    loop_store.prune()

    assert sorted(int(f.stem) for f in folder.iterdir()) == [5, 6, 7]
