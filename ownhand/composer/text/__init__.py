"""Text to characters that the font has, ready for lines to be broken."""
