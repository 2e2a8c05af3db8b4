"""Where the water may come in, and the order of checks."""
