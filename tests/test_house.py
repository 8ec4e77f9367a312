"""The rules of the house, kept by machines: one-way imports, types, lint, packaging."""

from __future__ import annotations

import ast
import subprocess
import sys
import zipfile
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PACKAGES = ("capture", "skeleton", "fontbuild", "ownhand")


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
