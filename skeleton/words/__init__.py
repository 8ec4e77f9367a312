"""Words and lines of writing whose text is known: strokes in the order of writing, and the letters' ink.

`letter_forms` holds how letters are written inside words, `letter_viterbi` finds the cheapest way of a pen through the
ink that is a row of such letters (`form_lanes`: along their forms, `pen_jumps`: where it is lifted, `single_steps`:
step for step), `laid_text` tells what it costs, `decoding` tries frames until the writing's own size, slope and slant
are found and takes the way that leaves least of the ink unexplained (`unexplained_ink`), `bars` finds the bars of t and
f before, `leftovers` has strokes take up what no letter passes, `delayed_strokes` deals dots and bars, `word_reading`
puts it together, `line_reading` does it for a line.
"""

from __future__ import annotations

from skeleton.words.line_reading import LineReading, read_line
from skeleton.words.word_reading import WordLetter, WordReading, read_word

__all__ = ["LineReading", "WordLetter", "WordReading", "read_line", "read_word"]
