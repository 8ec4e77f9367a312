"""The rules of the house, kept by machines: one-way imports, types, lint, packaging."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("capture", "skeleton", "fontbuild", "ownhand")

DOCUMENTED = ("capture", "fontbuild", "ownhand")
"""Packages whose public functions say shapes, units and errors."""


def _run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)


def test_imports_follow_the_data_one_way():
    check = "from importlinter.cli import lint_imports; import sys; sys.exit(lint_imports(no_cache=True))"
    done = subprocess.run([sys.executable, "-c", check], cwd=ROOT, capture_output=True, text=True, check=False)

    assert done.returncode == 0, done.stdout + done.stderr


def test_types_are_strict():
    done = _run("mypy", "--no-incremental", "--cache-dir=/dev/null")

    assert done.returncode == 0, done.stdout + done.stderr


def test_the_linter_is_content():
    done = _run("ruff", "check", "--no-cache", ".")

    assert done.returncode == 0, done.stdout + done.stderr


def test_the_code_is_formatted():
    done = _run("ruff", "format", "--no-cache", "--check", ".")

    assert done.returncode == 0, done.stdout + done.stderr


def test_only_the_console_prints():
    talkers = [
        str(path.relative_to(ROOT))
        for package in PACKAGES
        for path in (ROOT / package).rglob("*.py")
        if path.name != "console.py"
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
    ]

    assert talkers == []


ARRAYS = re.compile(r"Points|NDArray|ndarray|Array|Floats|Pixels|Vector|Field|Grey|Ints|Index")
FRAMES = re.compile(
    r"shape|\(n|\(m|\(h|indices|\b(mm|px|ems?|font units?|x-heights?|degrees?|units?|dpi|shares?|seconds?|log odds"
    r"|sizes?|0 to 1|index|bool|grey|uint8)\b"
)
"""What tells a reader how an array is laid out or in which unit its figures are."""


def _public_functions() -> Iterator[tuple[str, str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    for package in DOCUMENTED:
        for path in (ROOT / package).rglob("*.py"):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            classes = [n for n in tree.body if isinstance(n, ast.ClassDef) and not n.name.startswith("_")]
            for node in (*tree.body, *(n for c in classes for n in c.body)):
                if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and not node.name.startswith("_"):
                    yield f"{path.relative_to(ROOT)}: {node.name}", ast.get_docstring(tree) or "", node


def test_public_functions_name_the_errors_that_they_raise():
    silent = []
    for place, _, node in _public_functions():
        if place.startswith("ownhand/cli/"):  # a command's docstring is its help
            continue
        caught = {ast.unparse(h.type) for h in ast.walk(node) if isinstance(h, ast.ExceptHandler) and h.type}
        raised = {
            n.exc.func.id
            for n in ast.walk(node)
            if isinstance(n, ast.Raise) and isinstance(n.exc, ast.Call) and isinstance(n.exc.func, ast.Name)
        }
        for error in raised:
            inside = any(error in c for c in caught)
            if error.endswith("Error") and not inside and error not in (ast.get_docstring(node) or ""):
                silent.append(f"{place} raises {error}")

    assert silent == []


def test_public_functions_on_arrays_name_shapes_or_units():
    silent = []
    for place, module, node in _public_functions():
        arguments = [a.annotation for a in (*node.args.args, *node.args.kwonlyargs) if a.annotation]
        annotations = [ast.unparse(a) for a in (*arguments, *([node.returns] if node.returns else []))]
        if any(map(ARRAYS.search, annotations)) and not FRAMES.search((ast.get_docstring(node) or "") + module):
            silent.append(place)

    assert silent == []


def test_no_other_installed_distribution_claims_our_package_names():
    claims = metadata.packages_distributions()

    for package in PACKAGES:
        assert set(claims.get(package, ["ownhand"])) == {"ownhand"}


def test_a_wheel_holds_the_four_packages_and_their_files(tmp_path):
    done = _run("pip", "wheel", "--no-deps", "--no-build-isolation", "-q", "-w", str(tmp_path), ".")
    assert done.returncode == 0, done.stderr
    wheel = next(tmp_path.glob("ownhand-*.whl"))
    names = zipfile.ZipFile(wheel).namelist()
    ours = {
        str(path.relative_to(ROOT))
        for package in PACKAGES
        for path in (ROOT / package).rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }

    assert ours <= set(names)
    assert {name.split("/")[0] for name in names} == {
        *PACKAGES,
        next(n for n in names if "dist-info" in n).split("/")[0],
    }
