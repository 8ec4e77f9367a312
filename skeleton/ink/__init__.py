"""A grey picture made into ink: darkness, mask, pen width, connected components."""
