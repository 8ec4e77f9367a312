"""Training what the tracer learned: its samples, and the network in PyTorch (extra `train`)."""
