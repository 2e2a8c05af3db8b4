"""The command line: one module a command group; each imports its rooms only when a command runs."""
