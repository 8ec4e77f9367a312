"""What was read and decided, step by step, and what the page needs of it."""
