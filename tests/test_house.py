"""The rules of the house, kept by machines: one-way imports, types, lint, packaging."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
import zipfile
from collections.abc import Iterator
from functools import cache
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
    # with what it knows from before: it looks again at every file that has changed, and at those that use it
    done = _run("mypy")

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
        for node in ast.walk(_parsed(path))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print"
    ]

    assert talkers == []


@cache
def _parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


ARRAYS = re.compile(r"Points|NDArray|ndarray|Array|Floats|Pixels|Vector|Field|Grey|Ints|Index")
FRAMES = re.compile(
    r"shape|\(n|\(m|\(h|indices|\b(mm|px|ems?|font units?|x-heights?|degrees?|units?|dpi|shares?|seconds?|log odds"
    r"|sizes?|0 to 1|index|bool|grey|uint8)\b"
)
"""What tells a reader how an array is laid out or in which unit its figures are."""


def _public_functions() -> Iterator[tuple[str, str, ast.FunctionDef | ast.AsyncFunctionDef]]:
    for package in DOCUMENTED:
        for path in (ROOT / package).rglob("*.py"):
            tree = _parsed(path)
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


def test_developers_are_told_what_every_library_is_for():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    wanted = [
        *project["dependencies"],
        *(v for k, of in project["optional-dependencies"].items() if k != "test" for v in of),
    ]
    table = (ROOT / "DEVELOPERS.md").read_text("utf-8").partition("## Libraries, and why")[2]
    names = {re.match(r"[\w-]+", line)[0] for line in wanted}

    assert "svgelements" in names
    assert {name for name in names if not re.search(rf"\b{re.escape(name)}\b", table)} == set()


BARE_ARRAY = re.compile(r"\b(Any|NDArray|np\.ndarray|ArrayLike)\b")
ARRAY_FIELD = re.compile(r"NDArray|ndarray|\b(Points|Floats|Ints|Field|Line|Vector|Indices)\b")
SHAPE = re.compile(r"[Ss]hape|\([a-z0-9_ +*]+,[a-z0-9_ +,*]*\)")
RIDDLES = ("for honesty", "does not contend", "a way in from Python")


def _public(body: list[ast.stmt], prefix: str = "") -> Iterator[tuple[str, ast.FunctionDef]]:
    for node in body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield prefix + node.name, node
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from _public(node.body, f"{node.name}.")


def _caught(function: ast.FunctionDef, node: ast.Raise) -> bool:
    """Tell whether an error is raised inside a `try` of the same function."""
    return any(isinstance(t, ast.Try) and any(node in ast.walk(s) for s in t.body) for t in ast.walk(function))


def _undocumented(tree: ast.Module) -> Iterator[str]:
    """Yield what the docstrings of public functions and dataclasses leave out: arrays' shapes, errors raised."""
    for name, function in _public(tree.body):
        # a command's docstring is its help text, and `main` tells what it raises
        if any(re.search(r"^overload$|\.command\(", ast.unparse(d)) for d in function.decorator_list):
            continue
        text = ast.get_docstring(function) or ""
        for arg in (*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs):
            kind = ast.unparse(arg.annotation) if arg.annotation else ""
            if BARE_ARRAY.search(kind) and not re.search(rf"\b{arg.arg}\b", text):
                yield f"{name} does not say what {arg.arg} ({kind}) is"
        given = ast.unparse(function.returns) if function.returns else ""
        if re.search("NDArray|ndarray", given) and not SHAPE.search(text):
            yield f"{name} does not say which shape it returns"
        for node in ast.walk(function):
            if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                error = ast.unparse(node.exc.func).split(".")[-1]
                if error.endswith("Error") and error not in text and not _caught(function, node):
                    yield f"{name} does not say that it raises {error}"
    for cls in tree.body:
        if not isinstance(cls, ast.ClassDef) or cls.name.startswith("_"):
            continue
        if not any("dataclass" in ast.unparse(d) for d in cls.decorator_list):
            continue
        for field, after in zip(cls.body, [*cls.body[1:], None], strict=True):
            if isinstance(field, ast.AnnAssign) and ARRAY_FIELD.search(ast.unparse(field.annotation)):
                said = (
                    after.value.value if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant) else ""
                )
                if not SHAPE.search(f"{said} {ast.get_docstring(cls)}"):
                    yield f"{cls.name} does not say which shape {ast.unparse(field.target)} has"


def test_public_docstrings_say_shapes_and_errors():
    faults = [
        f"{path.relative_to(ROOT)}: {fault}"
        for package in PACKAGES
        for path in sorted((ROOT / package).rglob("*.py"))
        for fault in _undocumented(_parsed(path))
    ]

    assert faults == []


def test_docstrings_that_leave_something_out_are_noticed():
    code = """
def far(points: NDArray[np.float64]) -> NDArray[np.float64]:
    'Return something.'
    raise ValueError("no")

@dataclass
class Spot:
    'A spot.'
    place: Points
    'Where it is.'
"""

    assert len(list(_undocumented(ast.parse(code)))) == 4


def test_loops_say_what_arrays_they_take():
    """Parameters and results of compiled loops are named array types, not Any."""
    vague = [
        f"{path.relative_to(ROOT)}: {node.name}"
        for path in sorted((ROOT / "skeleton").rglob("*.py"))
        if "words" not in path.parts
        for node in ast.walk(_parsed(path))
        if isinstance(node, ast.FunctionDef)
        and any(re.match(r"compiled|inner\b", ast.unparse(d)) for d in node.decorator_list)
        and any(
            kind is not None and ast.unparse(kind) == "Any"
            for kind in (node.returns, *(a.annotation for a in node.args.args))
        )
    ]

    assert vague == []


def test_no_sentence_is_a_riddle():
    found = [
        f"{path.relative_to(ROOT)}: {riddle}"
        for package in PACKAGES
        for path in sorted((ROOT / package).rglob("*.py"))
        for riddle in RIDDLES
        if riddle in " ".join(path.read_text(encoding="utf-8").split())
    ]

    assert found == []
