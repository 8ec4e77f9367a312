"""How much a hand varies, and random figures that vary so."""
