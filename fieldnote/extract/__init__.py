"""Words to entries."""
