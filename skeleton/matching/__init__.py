"""Known written forms laid over the ink and followed along it (Viterbi)."""
