"""What can go wrong, said to the person at the scanner.

Every class, and the exit code it ends the command with:

    OwnhandError                  1
    +- UsageError                 2   the command asks for something impossible
    +- InputError                 3   something the user handed in
    |  +- NotAScanError               not an image or PDF that can be read
    |  +- MarksNotFoundError          no sheet, or not enough of it, on the picture
    |  +- WrongSheetError             a sheet of ours that does not belong to this hand
    |  +- SheetFileError              a sheet.json that does not hold together
    |  +- HandFolderError             a folder that is not a hand, or lacks what is asked for
    |  +- FontFileError               a font that cannot be read
    |  +- TableError                  a table of recipients with a fault in it
    +- OutputError                4   a file or folder we were told to write
    +- MissingLibraryError        6   a system library or optional package is not installed

A run that ends well but has something to look at exits with 5 (`NEEDS_REVIEW`). A message has three parts: where;
what was found against what was expected; what to do now.
"""

from __future__ import annotations

from capture.safe_text import printable

NEEDS_REVIEW = 5
"""Exit code of a run that finished and left findings for a person to look at."""


LONGEST = 700
"""Characters of what a message says is wrong; a file can be wrong at great length."""


def one_line(text: str) -> str:
    """Return a text on one line, safe to show on a terminal, cut short where it is very long."""
    line = printable(" ".join(text.splitlines()))
    return line if len(line) <= LONGEST else line[: LONGEST - 1] + "…"


class OwnhandError(Exception):
    """Anything that ends a command with one clear line.

    Parameters
    ----------
    where
        The file, option or place on paper that is at fault.
    what
        What was found against what was expected, without a full stop.
    remedy
        What to do now, as a whole sentence.
    """

    exit_code = 1

    def __init__(self, where: str, what: str, remedy: str = "") -> None:
        self.where, self.what, self.remedy = one_line(where), one_line(what), one_line(remedy)
        super().__init__(f"{self.where}: {self.what}." + (f" {self.remedy}" if remedy else ""))

    def __reduce__(self) -> tuple[type[OwnhandError], tuple[str, str, str]]:
        """Travel between processes whole: `Exception` would hand the finished message to `__init__`."""
        return type(self), (self.where, self.what, self.remedy)


class UsageError(OwnhandError):
    """The command asks for something impossible."""

    exit_code = 2


class InputError(OwnhandError):
    """Something the user handed in cannot be used."""

    exit_code = 3


class NotAScanError(InputError):
    """A file is not an image or PDF that can be read."""


class MarksNotFoundError(InputError):
    """No sheet, or not enough of it, is on the picture."""


class WrongSheetError(InputError):
    """A sheet of ours that does not belong to this hand."""


class SheetFileError(InputError):
    """A sheet.json does not hold together."""


class HandFolderError(InputError):
    """A folder is not a hand, or lacks what is asked for."""


class FontFileError(InputError):
    """A font cannot be read."""


class TableError(InputError):
    """A table of recipients has a fault in it."""


class OutputError(OwnhandError):
    """A file or folder that we were told to write cannot be written."""

    exit_code = 4


class MissingLibraryError(OwnhandError):
    """A system library or an optional package is not installed."""

    exit_code = 6
