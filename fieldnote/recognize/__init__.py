"""Sound to words: one seam, several engines."""
