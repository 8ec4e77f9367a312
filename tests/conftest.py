"""What all tests share: property-test profiles, and tools from Debian that some checks need."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "fast", max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)
settings.register_profile("thorough", max_examples=1000, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "fast"))


def pytest_configure(config: pytest.Config) -> None:
    """Have the tracer compiled once, before the processes of a parallel run each begin to."""
    if getattr(config.option, "numprocesses", None) and not hasattr(config, "workerinput"):
        from skeleton.precompile import prepare

        prepare()


@pytest.fixture
def tool() -> Callable[[str], str]:
    """Give the path of a program from Debian's packages; in CI a missing one fails the test, elsewhere it is said."""

    def find(name: str) -> str:
        path = shutil.which(name)
        if path is None:
            say = pytest.fail if os.environ.get("CI") else pytest.skip
            say(f"{name} is not installed (Debian: apt-get install {name})")
        return str(path)

    return find
