"""Letters, lines and pages: spacing, line breaks, places on the paper."""
