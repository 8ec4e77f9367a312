"""The process that does one piece of long work: the commands' own functions, told in lines of JSON.

Standard input gives the request in its first line and stays open for as long as the server lives; standard output takes
`{"progress": [step, done, total]}`, `{"page": …}` for each page read, and at the end `{"result": …}` or `{"error": …}`.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from capture.errors import OwnhandError
from capture.report import Finding

Tell = Callable[[dict[str, Any]], None]


def work() -> None:
    """Do what the first line of standard input asks for."""
    # Ctrl-C is for the server; this process ends when its input does.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(OSError, AttributeError):
        os.nice(5)
    out = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    lock = threading.Lock()

    def tell(said: dict[str, Any]) -> None:
        with lock, contextlib.suppress(OSError):
            out.write(json.dumps(said).encode() + b"\n")
            out.flush()

    request = json.loads(sys.stdin.buffer.readline() or b"{}")
    threading.Thread(target=_end_with_server, daemon=True).start()
    try:
        tell({"result": WORKS[request["kind"]](request, tell)})
    except OwnhandError as error:
        tell({"error": {"where": error.where, "what": error.what, "remedy": error.remedy}})
    except MemoryError:
        tell({"error": {"where": request["kind"], "what": "not enough memory", "remedy": "Take fewer pages at once."}})
    except Exception as error:
        what = f"went wrong ({type(error).__name__}: {error})"
        tell({"error": {"where": request["kind"], "what": what[:300], "remedy": "The command may say more."}})
    out.flush()
    os._exit(0)


def _end_with_server() -> None:
    # Not `sys.stdin`: its lock, held by this thread, would never open in the processes that are forked from this one.
    while os.read(0, 4096):
        continue
    os._exit(1)


def _progress(tell: Tell) -> Callable[[str, int, int], None]:
    return lambda step, done, total: tell({"progress": [step, done, total]})


def _read(request: dict[str, Any], tell: Tell) -> dict[str, Any]:
    from ownhand.commands.read import read_scans
    from ownhand.commands.read_report import told_of_pages

    done = read_scans(
        Path(request["hand"]),
        [Path(s) for s in request["scans"]],
        adopt=request["adopt"],
        progress=_progress(tell),
        on_page=lambda page: tell({"page": page}),
    )
    return {
        "pages": [
            {
                "sheet": t.capture.sheet,
                "page": t.capture.page,
                "scan": t.capture.scan,
                "written": sum(a.status == "written" for a in t.capture.attempts),
                "blank": sum(a.status == "blank" for a in t.capture.attempts),
                "spoiled": sum(a.status == "spoiled" for a in t.capture.attempts),
                "lines": t.lines,
                "dpi": round(t.verdict.dpi),
                "pen_mm": round(t.pen_mm, 2),
                "doubtful": sum(bool(a.findings) and a.status == "written" for a in t.capture.attempts),
            }
            for t in done.pages
        ],
        "refused": [{"where": e.where, "what": e.what, "remedy": e.remedy} for e in done.refused],
        "doubtful": [_finding(f) for f in done.findings][:500],
        "notices": [n for n in (*done.notices, *told_of_pages(done)) if n not in {str(e) for e in done.refused}],
    }


def _finding(f: Finding) -> dict[str, Any]:
    return {"char": f.char, "page": f.page, "row": f.row, "column": f.column, "kind": f.kind, "detail": f.detail}


def _build(request: dict[str, Any], tell: Tell) -> dict[str, Any]:
    from ownhand.commands import build as building

    done = building.build(
        Path(request["hand"]), tabular_figures=request.get("tabular", False), progress=_progress(tell)
    )
    return {
        "characters": len(done.font.glyphs),
        "glyphs": sum(len(v) for v in done.font.glyphs.values()),
        "set_aside": len(done.result.set_aside),
        "missing": list(done.result.missing),
    }


def _write_table(request: dict[str, Any], tell: Tell) -> dict[str, Any]:
    from ownhand.workroom.runs import write_run

    return write_run(Path(request["hand"]), request["name"], force=request["force"], progress=_progress(tell))


def _draw_overview(request: dict[str, Any], tell: Tell) -> dict[str, Any]:
    from ownhand.workroom.runs import draw_overview

    return draw_overview(Path(request["hand"]), request["name"], progress=_progress(tell))


WORKS: dict[str, Callable[[dict[str, Any], Tell], dict[str, Any]]] = {
    "read": _read,
    "build": _build,
    "table": _write_table,
    "overview": _draw_overview,
}
