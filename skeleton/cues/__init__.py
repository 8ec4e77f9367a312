"""What the ink tells of the pen: where it landed and lifted, where it passed twice, how straight its lines are."""
