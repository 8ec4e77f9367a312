"""The commands as functions, one a module."""
