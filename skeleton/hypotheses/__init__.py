"""Candidate readings of one image: made of matches or of the smoothest lines, and edited."""
