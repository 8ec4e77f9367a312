"""Numbers, dates and amounts as a language sets them, where a template asks for it: `{sum, as money de EUR}`.

The forms are those of Unicode's CLDR, from the library Babel.
"""

from __future__ import annotations

from datetime import date
from decimal import Decimal, InvalidOperation

from capture.errors import InputError

KINDS = ("number", "date", "long date", "money")


def formatted(value: str, how: str, *, where: str) -> str:
    r"""Return a value as `how` asks: a kind of `KINDS`, a language (BCP 47), and for money a currency (ISO 4217).

    Values are plain: 1234.5, 2026-11-28. An empty value stays empty.

    Raises
    ------
    InputError
        If the kind, the language or the currency is unknown, or the value is not such a number or date.

    Examples
    --------
    >>> formatted("1234.5", "money de EUR", where="template")
    '1.234,50\xa0€'
    >>> formatted("2026-11-28", "long date fr", where="template")
    '28 novembre 2026'
    """
    import babel
    from babel.dates import format_date
    from babel.numbers import format_currency, format_decimal, is_currency

    words = how.split()
    kind = " ".join(words[:2]) if words[:2] == ["long", "date"] else words[0] if words else ""
    rest = words[len(kind.split()) :]
    if kind not in KINDS or len(rest) != (2 if kind == "money" else 1):
        remedy = "Write as number de, as date de, as long date de, or as money de EUR."
        raise InputError(where, f"'as {how}' is no way to set a value", remedy)
    try:
        locale = babel.Locale.parse(rest[0].replace("-", "_"))
    except (ValueError, babel.UnknownLocaleError):
        raise InputError(where, f"'{rest[0]}' is no language that is known", "Write en, de, fr-CH …") from None
    if kind == "money" and not is_currency(rest[1]):
        raise InputError(where, f"'{rest[1]}' is no currency", "Write EUR, PLN, GBP …")
    if not value.strip():
        return ""
    if kind.endswith("date"):
        try:
            day = date.fromisoformat(value.strip())
        except ValueError:
            raise InputError(where, f"'{value[:40]}' is no date", "Write dates as 2026-11-28.") from None
        return str(format_date(day, format="long" if kind == "long date" else "short", locale=locale))
    try:
        number = Decimal(value.strip())
        if not number.is_finite() or abs(number) > Decimal("1e15"):
            raise InvalidOperation
    except InvalidOperation:
        raise InputError(where, f"'{value[:40]}' is no number", "Write numbers as 1234.5.") from None
    if kind == "money":
        return str(format_currency(number, rest[1], locale=locale))
    return str(format_decimal(number, locale=locale))
