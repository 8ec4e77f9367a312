"""Files a composed page can become, one a module."""
