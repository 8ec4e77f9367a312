"""Where compiled loops are kept between runs: shipped inside the package, or in the user's cache folder.

A compiled loop is kept under what it is made of (`loop_digest`), its argument types, the versions of Python, numba and
llvmlite, and the processor it was compiled for. An edited loop is therefore never run as it was, whatever the dates of
its files say, and all checkouts and processes share what is the same. What is shipped (`SHIPPED`, filled when a wheel
is built) is looked at first and never written to. Where nothing can be written the loops are compiled in memory, and
`unkept` tells so.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from capture.user_cache import cache_folder

SHIPPED = Path(__file__).resolve().parent.parent / "compiled"
"""Where a wheel holds the loops compiled when it was built; never written to by a run."""

MOST_FILES = 3000
"""Files of the user's cache from which the oldest are removed: about fifteen versions of all loops."""

ENDING = ".loop"

PROCESSOR_VARIABLE = "OWNHAND_COMPILE_FOR"
"""Environment variable that, set to `BASELINE`, has loops compiled for and taken from that processor alone: for images
that run on many machines. Otherwise the processor at hand comes first; sums that may be added up in another order
(`fastmath`) then differ between machines in the last bits."""

BASELINE = "x86-64-v3"
"""The processor of the x86-64 psABI's third microarchitecture level, which machines since about 2015 can stand in for:
what was compiled for it runs on all of them."""

_BASELINE_FEATURES = ("avx2", "bmi", "bmi2", "f16c", "fma", "lzcnt", "movbe")

_DIGEST_BYTES = 32

unkept: list[str] = []
"""Why compiled loops could not be kept, the first time it happened in this process."""

destinations: list[Path] = []
"""Where compiled loops are written to instead of the user's cache folder; the last counts."""

aside: list[Path] = []
"""Further folders that compiled loops are looked for in."""


def user_folder() -> Path | None:
    """Return the folder in which this user's compiled loops are kept, None where there is no such place."""
    folder = cache_folder()
    return None if folder is None else folder / "loops"


@cache
def baseline_suits() -> bool:
    """Return whether the processor at hand can run what is compiled for `BASELINE`."""
    from llvmlite import binding

    features = binding.get_host_cpu_features()
    return binding.get_process_triple().startswith("x86_64") and all(features.get(f) for f in _BASELINE_FEATURES)


def compiling_environment() -> dict[str, str]:
    """Return the environment variables for a process that compiles loops to be kept."""
    return {"NUMBA_CPU_NAME": BASELINE, "NUMBA_CPU_FEATURES": ""} if _for_baseline() else {}


def _for_baseline() -> bool:
    return os.environ.get(PROCESSOR_VARIABLE) == BASELINE and baseline_suits()


def _key(triple: str, processor: str, features: str) -> str:
    import llvmlite
    import numba
    import numpy

    versions = (numba.__version__, llvmlite.__version__, numpy.__version__.split(".")[0])
    told = "\n".join((sys.version, *versions, triple, processor, features, str(vars(numba.config)["OPT"])))
    return f"{sys.implementation.cache_tag}-{hashlib.sha256(told.encode()).hexdigest()[:12]}"


@cache
def own_key() -> str:
    """Return the name of the folder for what this process compiles."""
    return _key(*_codegen().magic_tuple())


@cache
def _keys() -> tuple[str, ...]:
    """Return the names of the folders that hold loops which this process can run, best first."""
    baseline = [_key(_codegen().magic_tuple()[0], BASELINE, "")] if baseline_suits() else []
    return tuple(baseline) if _for_baseline() else tuple(dict.fromkeys([own_key(), *baseline]))


def _codegen() -> Any:
    """Return numba's code generator: the words it compiles by stand in the key."""
    from numba.core.registry import cpu_target

    return cpu_target.target_context.codegen()


def file_name(loop: str, digest: str, signature: object) -> str:
    """Return the name of the file of a compiled loop: of its name, a digest of what it is made of, and its types."""
    told = f"{digest}\n{loop}\n{signature}"
    module, name = loop.split(".")[-2:]
    return f"{module}.{name}-{hashlib.sha256(told.encode()).hexdigest()[:20]}{ENDING}"


def _folders() -> list[Path]:
    user = None if destinations else user_folder()
    roots = [SHIPPED, *aside, *destinations, *([user] if user else [])]
    return [root / key for root in roots for key in _keys()]


def find(name: str) -> Path | None:
    """Return where a compiled loop is kept, None if it is nowhere."""
    return next((folder / name for folder in _folders() if (folder / name).is_file()), None)


def load(name: str) -> bytes | None:
    """Return what was kept under a name, None if nothing was; what is damaged or another user's counts as nothing."""
    for folder in _folders():
        path = folder / name
        try:
            if hasattr(os, "getuid") and path.stat().st_uid not in (os.getuid(), 0, _owner()):
                continue
            data = path.read_bytes()
        except OSError:
            continue
        if hashlib.sha256(data[_DIGEST_BYTES:]).digest() == data[:_DIGEST_BYTES]:
            return data[_DIGEST_BYTES:]
    return None


@cache
def _owner() -> int:
    """Return who owns the package: what is shipped is as much to be trusted as the code."""
    return Path(__file__).stat().st_uid


def save(name: str, data: bytes) -> None:
    """Keep a compiled loop; where that cannot be done `unkept` says why, and nothing is lost but time."""
    root = destinations[-1] if destinations else user_folder()
    if root is None:
        unkept.append("there is no home folder")
        return
    folder = root / own_key()
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(prefix=f".{name}.", dir=folder)
        with os.fdopen(handle, "wb") as file:
            file.write(hashlib.sha256(data).digest() + data)
        Path(beside).replace(folder / name)
    except OSError as error:
        unkept.append(f"{folder} cannot be written ({error.strerror or type(error).__name__})")


def prune() -> None:
    """Remove the oldest files of the user's cache beyond `MOST_FILES`."""
    root = user_folder()
    if root is None or not root.is_dir():
        return
    files = list(root.glob(f"*/*{ENDING}"))
    if len(files) <= MOST_FILES:
        return
    try:
        for path in sorted(files, key=lambda p: p.stat().st_mtime)[: len(files) - MOST_FILES // 2]:
            path.unlink(missing_ok=True)
    except OSError:
        return  # another process is about it, or may not: the cache is only larger than it need be
