"""The examples in docstrings give what they say."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
WITH_EXAMPLES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for package in ("capture", "skeleton", "fontbuild", "ownhand")
    for path in (ROOT / package).rglob("*.py")
    if ">>>" in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples_in_docstrings_are_true(name: str) -> None:
    failed, tried = doctest.testmod(importlib.import_module(name), optionflags=doctest.NORMALIZE_WHITESPACE)

    assert tried > 0
    assert failed == 0


def test_the_tracer_shows_how_it_is_used() -> None:
    assert any(name.startswith("skeleton") for name in WITH_EXAMPLES)
