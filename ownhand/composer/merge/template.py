"""A text with fields for each recipient.

`{name}` stands for the field of that name, `{name, else dear friend}` for it or, where it is empty, for what follows
`else`; `{sum, as money de EUR}` sets a plain number as a language does (`value_formats`). `{left brace}` and
`{right brace}` are braces. A line that holds nothing but fields, all empty, is left out. A line `>> address` begins
the text of the box of that name; what comes before the first such line is for the first box.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from capture.errors import InputError
from ownhand.composer.merge.value_formats import formatted

_TOKEN = re.compile(r"\{[^{}\n]*\}|[{}]")
_AS = re.compile(r",[ \t]*as[ \t]+([^,]*)", re.I)
_ELSE = re.compile(r",[ \t]*else(?:[ \t]+(.*))?\Z", re.I)
_BOX = re.compile(r"^>>[ \t]*(\S[^\n]*)$", re.M)
BRACES = {"left brace": "{", "right brace": "}"}
"""Fields that are no columns."""


@dataclass(frozen=True)
class _Field:
    name: str
    how: str | None = None
    """How its value is set."""

    otherwise: str | None = None
    """What stands for it where it is empty; None: nothing was said."""


def _field(token: str) -> _Field:
    """Return the field that stands in braces; looked through once, however long it is."""
    inside = token[1:-1]
    for comma in re.finditer(",", inside):
        name, at = inside[: comma.start()], comma.start()
        how = _AS.match(inside, at)
        if how and how.end() == len(inside):
            return _Field(name, how[1].rstrip(" \t"))
        if otherwise := _ELSE.match(inside, how.end() if how else at):
            return _Field(name, how[1].rstrip(" \t") if how else None, (otherwise[1] or "").strip())
    return _Field(inside)


@dataclass(frozen=True)
class Template:
    """A text with fields; made by `parse_template`."""

    boxes: tuple[tuple[str, str], ...]
    """Names of boxes ('' for the first one) and their raw texts."""

    fields: frozenset[str]
    """Names of all fields, folded as by `key`."""

    def fill(self, row: Mapping[str, str], plain: Mapping[str, str] | None = None) -> str | dict[str, str]:
        """Return the text with the fields of one row; by box, where the template names any.

        `row` has keys folded by `key`; so has `plain`, which goes before it in fields that are set as a language does.

        Raises
        ------
        InputError
            If a value cannot be set as its field asks (`value_formats.formatted`).
        """
        filled = {name: _fill(text, row, plain or {})[0] for name, text in self.boxes}
        return filled[""] if list(filled) == [""] else filled

    def unfilled(self, row: Mapping[str, str], plain: Mapping[str, str] | None = None) -> tuple[str, ...]:
        r"""Return the fields that leave a gap in the text of one row: empty, without `else`, in a line that stays.

        Examples
        --------
        >>> parse_template("Dear {name, else friend},\n{street}\nfrom {town}").unfilled({"name": "", "street": ""})
        ('town',)
        """
        return tuple(sorted({name for _, text in self.boxes for name in _fill(text, row, plain or {})[1]}))


def key(name: str) -> str:
    """Return a field's name without regard to case and space around it.

    Examples
    --------
    >>> key(" First  Name ")
    'first name'
    """
    return " ".join(name.split()).casefold()


def parse_template(text: str, *, where: str = "template") -> Template:
    """Return the template in a text.

    Raises
    ------
    InputError
        If a brace stands alone, a field has no name, or how it is to be set is not known; with the line.

    Examples
    --------
    >>> parse_template("Dear {Name, else friend},").fill({"name": ""})
    'Dear friend,'
    """
    fields: set[str] = set()
    line, at = 1, 0
    for found in _TOKEN.finditer(text):
        line, at = line + text.count("\n", at, found.start()), found.start()
        if found[0] in ("{", "}"):
            remedy = "Write {field}, or {left brace} and {right brace} for braces."
            raise InputError(f"{where}, line {line}", f"a single '{found[0]}'", remedy)
        field = _field(found[0])
        if not key(field.name):
            raise InputError(f"{where}, line {line}", "a field without a name", "Write {field}.")
        if field.how is not None:
            formatted("", field.how, where=f"{where}, line {line}")
        fields.add(key(field.name))
    return Template(split_boxes(text, where=where), frozenset(fields - set(BRACES)))


def named_boxes(text: str) -> list[str]:
    r"""Return the names of the boxes that lines of a text begin.

    Examples
    --------
    >>> named_boxes("Dear Orla,\n>> address\n7 Quarry Lane")
    ['address']
    """
    return [found[1].strip() for found in _BOX.finditer(text)]


def split_boxes(text: str, *, where: str = "text") -> tuple[tuple[str, str], ...]:
    r"""Return the boxes that a text names in lines of `>> name`, with the text of each; '' is the first box.

    Raises
    ------
    InputError
        If a box begins twice.

    Examples
    --------
    >>> split_boxes("Dear Orla,\n>> address\n7 Quarry Lane")
    (('', 'Dear Orla,'), ('address', '7 Quarry Lane'))
    """
    parts = _BOX.split(text)
    boxes = [(name.strip(), body.strip("\n")) for name, body in zip(parts[1::2], parts[2::2], strict=True)]
    if parts[0].strip() or not boxes:
        boxes.insert(0, ("", parts[0].rstrip("\n") if boxes else parts[0]))
    names = [name for name, _ in boxes]
    if len(set(names)) < len(names):
        raise InputError(where, "one box begins twice", "Give each box one line '>> name'.")
    return tuple(boxes)


def _fill(text: str, row: Mapping[str, str], plain: Mapping[str, str]) -> tuple[str, set[str]]:
    """Return the text of one row, and the fields that leave a gap in it."""
    lines: list[str] = []
    unfilled: set[str] = set()
    gaps: set[str] = set()
    for line in text.split("\n"):
        empty = bool(line.strip())
        gaps.clear()

        def value(found: re.Match[str]) -> str:
            nonlocal empty
            field = _field(found[0])
            name = key(field.name)
            if name in BRACES:
                empty = False
                return BRACES[name]
            value = row.get(name, "").strip()
            if field.how:
                value = formatted(plain.get(name, value), field.how, where=f"field '{name}'")
            value = value or field.otherwise or ""
            empty = empty and not value
            if not value and field.otherwise is None:
                gaps.add(name)
            return value

        filled = _TOKEN.sub(value, line)
        if empty and _TOKEN.sub("", line).strip():
            empty = False
        if not empty:
            lines.append(filled)
            unfilled |= gaps
    return "\n".join(lines), unfilled
