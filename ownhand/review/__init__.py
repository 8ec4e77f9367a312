"""The review page: see every letter, mend the few that need it, try the hand out."""
