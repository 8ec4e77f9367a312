"""Ductus: how the characters are written, as a table of forms of our own.

`allographs` gives the forms in which adults write a character in print script, each a sequence of strokes in writing
order and direction with a plausible share of writers. The table is drawn from general knowledge of school practice and
of everyday print script: no font, product or data set is its source, and its shares are estimates, not counts.
`allograph_from_strokes` turns what one writer is known to do into a form of the same kind, `with_own` sets it before
the table's, and `forms_of_writer` also uses what is known of related letters. `by_lines` groups forms that only order
and direction tell apart.
"""

from skeleton.ductus.allograph import Allograph
from skeleton.ductus.known import allograph_from_strokes, with_own
from skeleton.ductus.lines import by_lines
from skeleton.ductus.lookup import allographs
from skeleton.ductus.writer import forms_of_writer

__all__ = ["Allograph", "allograph_from_strokes", "allographs", "by_lines", "forms_of_writer", "with_own"]
