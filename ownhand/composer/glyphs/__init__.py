"""The shapes a font can write, and which of them each letter gets."""
