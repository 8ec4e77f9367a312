"""What was noticed on the way and survived: findings, named by their place on paper."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Finding:
    """Something a person should look at; never a reason to lose the rest of the sheet.

    Examples
    --------
    >>> str(Finding("outside the box", char="ß", page=1, row=4, column=7))
    "'ß' (page 1, row 4, column 7): outside the box"
    """

    kind: str
    """A few words for the table: 'outside the box', 'low confidence', 'touches a neighbour'."""

    char: str = ""
    page: int = 0
    row: int = 0
    """Rows and columns count from 1, from the top left of the page; 0: does not apply."""

    column: int = 0
    detail: str = ""

    def __str__(self) -> str:
        place = f" (page {self.page}, row {self.row}, column {self.column})" if self.row else ""
        return f"'{self.char}'{place}: {self.kind}" + (f", {self.detail}" if self.detail else "")
