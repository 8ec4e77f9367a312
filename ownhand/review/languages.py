"""What the hand can write, language by language, and the sheet with what it lacks."""
