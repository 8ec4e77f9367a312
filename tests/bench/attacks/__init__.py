"""The kinds of attack that `tests.bench attack` makes, one a module."""
