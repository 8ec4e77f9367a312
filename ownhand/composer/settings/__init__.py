"""What can be asked of a page, and how such requests are checked."""
