"""Runs: one text for every row of a table, written by several processes."""
