"""What is to be known of a run's texts, told once for all rows of which it is true."""

from __future__ import annotations

from collections.abc import Iterable

from ownhand.composer.text.fitter import Notice


def told_together(notices: Iterable[Notice]) -> dict[str, int]:
    """Return notices as lines, and how many there were of each; those that differ by a size alone make one.

    Examples
    --------
    >>> small = [Notice("smaller", "the page", f"written with {mm} mm to fit", size_mm=mm) for mm in (2.9, 2.71, 3.0)]
    >>> told_together([*small, Notice("squeezed", "margins", "line narrowed")])
    {'the page: written smaller to fit, with an x-height of 2.71 to 3.00 mm': 3, 'margins: line narrowed': 1}
    """
    alike: dict[tuple[str, str, str], list[Notice]] = {}
    for notice in notices:
        same = "" if notice.size_mm is not None else notice.detail
        alike.setdefault((notice.kind, notice.subject, same), []).append(notice)
    return {_line(several): len(several) for several in alike.values()}


def _line(several: list[Notice]) -> str:
    first = several[0]
    sizes = [n.size_mm for n in several if n.size_mm is not None]
    if len({f"{mm:.2f}" for mm in sizes}) < 2:
        return f"{first.subject}: {first.detail}"
    return f"{first.subject}: written smaller to fit, with an x-height of {min(sizes):.2f} to {max(sizes):.2f} mm"
