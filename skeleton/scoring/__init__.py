"""Which reading is likeliest: features of pen paths, and how well they suit the known forms."""
