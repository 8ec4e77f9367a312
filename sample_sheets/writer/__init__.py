"""A simulated writer: forms it learnt, a hand that moves, a pen that inks, a machine that scans.

| module        | what                                                             |
| ------------- | ---------------------------------------------------------------- |
| `letterforms` | the paths that the pen aims at (`letters` and `signs`: the data) |
| `movement`    | the sigma-lognormal movement between the targets of a path       |
| `hand`        | a person's habits and how much they vary; cells and lines        |
| `spacing`     | letters set beside each other                                    |
| `running_letters`, `running_hand` | letters inside joined words, and a person who joins them |
| `pen`         | ink on the paper's fibres                                        |
| `machines`    | a flatbed scanner and a camera                                   |
"""

from sample_sheets.writer.hand import GUEST, KEEPER, Habits, Trace, write_cell, write_line
from sample_sheets.writer.pen import ink_page

__all__ = ["GUEST", "KEEPER", "Habits", "Trace", "ink_page", "write_cell", "write_line"]
