"""What all tests share: property-test profiles, and tools from Debian that some checks need."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
from collections.abc import Callable
from importlib.metadata import PackageNotFoundError, distribution
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

HERE = Path(__file__).parent

settings.register_profile(
    "fast", max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
settings.register_profile("thorough", max_examples=1000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "fast"))


LONGEST = (
    "ownhand/test_main_job.py",
    "ownhand/workroom/test_whole_job_hard.py",
    "ownhand/workroom/test_page.py",
    "test_house.py",
    "ownhand/workroom/test_whole_job.py",
    "ownhand/test_review_page_everybody.py",
    "test_sample_archivist.py",
    "capture/test_read.py",
    "ownhand/test_one_off.py",
    "ownhand/test_review_page_slow.py",
    "ownhand/test_review_server.py",
    "ownhand/test_killed.py",
    "ownhand/workroom/test_page_things.py",
    "ownhand/test_foreign_strokes.py",
    "ownhand/test_letter.py",
    "ownhand/workroom/test_server.py",
    "skeleton/test_words.py",
    "test_recipes.py",
    "fontbuild/test_variants.py",
    "ownhand/test_ruled_lines.py",
    "test_fuzz.py",
    "ownhand/test_reading_many.py",
    "ownhand/test_review_page_seen.py",
    "skeleton/test_people.py",
    "ownhand/test_review_page.py",
    "ownhand/workroom/test_commissions.py",
    "ownhand/test_serve.py",
    "fontbuild/test_running_text.py",
    "ownhand/test_locking.py",
    "ownhand/test_forged_sheets.py",
    "ownhand/test_variation.py",
    "ownhand/test_review_page_strokes.py",
    "skeleton/test_precompile.py",
    "ownhand/test_bad_input.py",
    "fontbuild/test_packed.py",
    "ownhand/test_copies.py",
    "ownhand/test_kept_letters.py",
    "ownhand/test_review_page_kept.py",
    "skeleton/test_parts.py",
    "capture/test_print_sheet.py",
)
"""Files that take longest, longest first: begun last, one of them would keep a process at work when others are done."""


def pytest_configure(config: pytest.Config) -> None:
    """Have the tracer compiled once, before the processes of a parallel run each begin to."""
    if hasattr(config, "workerinput"):
        return
    # hundreds of processes are started: none compiles the modules anew that another one has compiled
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.dont_write_bytecode = False
    _take_compiled_loops()
    if getattr(config.option, "numprocesses", None):
        from skeleton.precompile import prepare

        prepare()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest."""
    place = {HERE / name: k for k, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path, len(LONGEST)))


def _take_compiled_loops() -> None:
    """Keep for this checkout what was compiled when ownhand was installed: minutes of work that need not be done again.

    A loop is found by what it is made of (`skeleton.geometry.loop_store`): an edited one is compiled anew.
    """
    from skeleton.geometry import loop_store

    folder = loop_store.user_folder()
    with contextlib.suppress(PackageNotFoundError, OSError):
        for file in distribution("ownhand").files or ():
            if file.suffix == loop_store.ENDING and folder is not None:
                kept = folder / file.parent.name / file.name
                if not kept.exists():
                    kept.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
                    shutil.copyfile(str(file.locate()), kept)


def program(name: str) -> str | None:
    """Return the path of a program, None where it is not installed; of the browser the one without windows first.

    It draws with the same engine and takes half of the processor time: ten tests of a page 14 s for 25.
    """
    without_windows = shutil.which("chromium-headless-shell") if name == "chromium" else None
    return without_windows or shutil.which(name)


@pytest.fixture
def tool() -> Callable[[str], str]:
    """Give the path of a program from Debian's packages; in CI a missing one fails the test, elsewhere it is said."""

    def find(name: str) -> str:
        path = program(name)
        if path is None:
            say = pytest.fail if os.environ.get("CI") else pytest.skip
            say(f"{name} is not installed (Debian: apt-get install {name})")
        return str(path)

    return find
