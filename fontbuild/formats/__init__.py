"""One module for each kind of font file."""
