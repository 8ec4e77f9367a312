"""A workbook's cell as its number format shows it: `00000` makes 1067 the postcode 01067.

The codes are those of ECMA-376 part 1, 18.8.31. What they leave to the computer on which the sheet is opened (its own
form of dates, names of months without a language) is not known, and the value is given plain: 1234.5, 2026-11-28.
Signs in numbers are those of the code itself, a point before decimals and commas between thousands.
"""

from __future__ import annotations

import locale
import re
from datetime import date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal, InvalidOperation

Value = str | bool | int | float | date | time | timedelta
"""What a cell holds; a `datetime` is a date too."""

SYSTEM_DATES = frozenset({"mm-dd-yy", "m/d/yy h:mm", "m/d/yy"})
"""The codes by which files mean the reader's own form of dates."""

LONGEST_CODE = 255
"""Characters of a format that is looked at, the most that the standard's programs write."""

_TOKEN = re.compile(
    r'"[^"]*"|\\.|\[[^\]]*\]|_.|\*.|(?i:am/pm|a/p)|(?i:general)|[0#?]+|[.,%@]|[yY]+|[mM]+|[dD]+|[hH]+|[sS]+|.', re.S
)
_DIGITS = frozenset("0#?")


def shown(value: Value, code: str) -> str:
    """Return a cell's text as its format shows it, or plain where the format does not tell it.

    Examples
    --------
    >>> shown(1067, "00000"), shown(0.5, "0%"), shown(1234.5, '#,##0.00" EUR"'), shown(date(2026, 5, 1), "d.m.yyyy")
    ('01067', '50%', '1,234.50 EUR', '1.5.2026')
    """
    if isinstance(value, (str, bool)) or not 0 < len(code) <= LONGEST_CODE:
        return plain(value)
    sections = _sections(code)
    if isinstance(value, (int, float)):
        try:
            found = _number(Decimal(plain(value)), sections)
        except InvalidOperation:  # more digits than numbers of workbooks have
            found = None
    else:
        found = None if code.lower() in SYSTEM_DATES else _moment(value, sections[0])
    return plain(value) if found is None else found


def plain(value: Value) -> str:
    """Return a value without a format: 1234.5, 2026-11-28, 2026-11-28 14:30, 14:30, TRUE.

    Examples
    --------
    >>> plain(0.1 + 0.2), plain(3.0), plain(datetime(2026, 5, 1)), plain(time(9, 5))
    ('0.3', '3', '2026-05-01', '09:05')
    """
    match value:
        case str():
            return value
        case bool():
            return str(value).upper()
        case int():
            return str(value)
        case float():
            text = f"{Decimal(f'{value:.15g}'):f}"
            return text.rstrip("0").rstrip(".") if "." in text else text
        case datetime():
            day = value.date().isoformat()
            return day if value.time() == time() else f"{day} {plain(value.time())}"
        case date():
            return value.isoformat()
        case time():
            return value.isoformat("seconds" if value.second else "minutes")
        case timedelta():
            hours, rest = divmod(round(value.total_seconds()), 3600)
            return f"{hours}:{rest // 60:02d}" + (f":{rest % 60:02d}" if rest % 60 else "")


def _sections(code: str) -> list[list[str]]:
    """Return the tokens of the parts for positive numbers, negative ones, and zero."""
    out: list[list[str]] = [[]]
    for token in _TOKEN.findall(code):
        if token == ";":
            out.append([])
        else:
            out[-1].append(token)
    return out


def _literal(token: str) -> str | None:
    """Return what a token of any format writes by itself; None if it stands for something of the value."""
    if token[0] == '"':
        return token.strip('"')
    if token[0] == "\\":
        return token[1:]
    if token[0] in "_*":  # room as wide as a sign, and signs that fill the cell
        return ""
    if token[0] == "[":
        money = re.match(r"\[\$([^\]-]*)", token)
        return money[1] if money else ""
    return None


def _number(value: Decimal, sections: list[list[str]]) -> str | None:
    section = sections[0]
    if value < 0 and len(sections) > 1:
        section, value = sections[1], -value
    elif value == 0 and len(sections) > 2:
        section = sections[2]
    if any(t[0] == "[" and re.match(r"\[[<>=hms]", t, re.I) for s in sections for t in s):
        return None
    parts: list[str] = []
    places: list[int] = []
    """Indices of `parts` that are places of digits."""
    for token in section:
        literal = _literal(token)
        if literal is not None:
            parts.append(literal)
        elif token.lower() == "general":
            parts.append(plain(float(value)) if value % 1 else str(value.to_integral()))
        elif token == "@":
            return None
        elif token[0] in _DIGITS:
            places += range(len(parts), len(parts) + len(token))
            parts += token
        elif token in (".", ",", "%") or token in " -+():€£$¥'{}<=>!&~^":
            parts.append(token)
        else:  # fractions, powers of ten, letters without quotes
            return None
    if not places:
        return "".join(parts)
    return _in_places(value, parts, places)


def _in_places(value: Decimal, parts: list[str], places: list[int]) -> str:
    """Return the parts of a format with the digits of a value in their places, filled from the right."""
    point = next((i for i, p in enumerate(parts) if p == "." and i >= places[0] - 1), len(parts))
    whole, rest = [i for i in places if i < point], [i for i in places if i > point]
    commas = [i for i, p in enumerate(parts) if p == ","]
    scaling = [i for i in commas if i > places[-1] or (whole and whole[-1] < i < point)]
    value = value * 100 ** parts.count("%") / 1000 ** len(scaling)
    rounded = abs(value).quantize(Decimal(1).scaleb(-len(rest)), ROUND_HALF_UP)
    digits, _, decimals = f"{rounded:f}".partition(".")
    digits = digits.lstrip("0").zfill(next((len(whole) - n for n, i in enumerate(whole) if parts[i] == "0"), 0))
    out = ["" if i in places or p == "," else p for i, p in enumerate(parts)]
    if len(commas) > len(scaling) and whole:
        out[whole[0]] = re.sub(r"(?<=\d)(?=(?:\d{3})+$)", ",", digits)
    elif whole:
        ends = len(digits) - len(whole) + 1
        for i, digit in zip(reversed(whole), [*reversed(digits[max(ends, 0) :]), digits[: max(ends, 0)]], strict=False):
            out[i] = digit
    if rest:
        kept = decimals.rstrip("0")
        out[rest[0]] = kept + "0" * (max((n + 1 for n, i in enumerate(rest) if parts[i] == "0"), default=0) - len(kept))
    text = "".join(out)
    return f"-{text}" if value < 0 and rounded else text


def _moment(value: date | time | timedelta, section: list[str]) -> str | None:
    """Return a date or time of day as its format shows it; None if the format does not say how."""
    if isinstance(value, timedelta) or not any(t[0] in "yYmMdDhHsS" for t in section):
        return None
    language = _language(next((t for t in section if t.startswith("[$")), ""))
    if language is None:
        return None
    day = value if isinstance(value, date) else None
    # a day without a time of day begins at midnight
    clock = value.time() if isinstance(value, datetime) else value if isinstance(value, time) else time()
    halves = any(t.lower() in ("am/pm", "a/p") for t in section)
    kinds = [t[0].lower() if t[0].lower() in "ymdhs" and _literal(t) is None else "" for t in section]
    out: list[str | None] = []
    for i, token in enumerate(section):
        if token[0] == "[":
            continue
        if kinds[i] == "m" and len(token) < 3:
            before, after = "".join(kinds[:i])[-1:], "".join(kinds[i + 1 :])[:1]
            kinds[i] = "minute" if before == "h" or after == "s" else "m"
        if (literal := _literal(token)) is not None:
            out.append(literal)
        elif token.lower() in ("am/pm", "a/p"):
            out.append(("AM" if clock.hour < 12 else "PM")[: 2 if len(token) > 3 else 1])
        elif kinds[i] in ("h", "minute", "s"):
            hour = (clock.hour - 1) % 12 + 1 if halves else clock.hour
            number = {"h": hour, "minute": clock.minute, "s": clock.second}[kinds[i]]
            out.append(f"{number:0{min(len(token), 2)}d}")
        elif kinds[i]:
            out.append(_of_day(kinds[i], len(token), day, language))
        else:
            out.append(token if token in "./-, :'" else None)
    told = [part for part in out if part is not None]
    return "".join(told) if len(told) == len(out) else None


def _of_day(kind: str, length: int, day: date | None, language: str) -> str | None:
    """Return year, month or day; None if there is none, or its name is in a language that nothing tells."""
    from babel.dates import format_date

    if day is None:
        return None
    if kind == "y":
        return f"{day.year:04d}" if length > 2 else f"{day.year % 100:02d}"
    if length > 2:
        pattern = {("m", 3): "MMM", ("m", 4): "MMMM", ("d", 3): "EEE", ("d", 4): "EEEE"}.get((kind, length))
        return str(format_date(day, pattern, locale=language)) if pattern and language else None
    return f"{day.month if kind == 'm' else day.day:0{length}d}"


def _language(tag: str) -> str | None:
    """Return the language that a format names by its number, as Babel calls it; '' if none, None if the reader's own.

    The numbers are Windows' language identifiers, which Python knows by name.
    """
    found = re.fullmatch(r"\[\$[^\]-]*-([0-9A-Fa-f]{1,8})(?:,[^\]]*)?\]", tag)
    if not found:
        named = re.fullmatch(r"\[\$[^\]-]*-([A-Za-z]{2,3}(?:-[A-Za-z0-9]{2,8})*)\]", tag)
        return _known(named[1].replace("-", "_")) if named else ""
    number = int(found[1], 16) & 0xFFFF
    if number in (0xF800, 0xF400):
        return None
    return _known(locale.windows_locale.get(number, ""))


def _known(language: str) -> str:
    """Return a language that Babel knows, or ''."""
    from babel import Locale, UnknownLocaleError

    try:
        return str(Locale.parse(language)) if language else ""
    except (ValueError, UnknownLocaleError):
        return ""
