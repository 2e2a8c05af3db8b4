"""The pages: one front door beside the command line, calling the same rooms."""
