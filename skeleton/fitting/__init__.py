"""Lines fitted to the grey ink, and checks of what they leave unexplained."""
