"""Many jobs looked at together."""
