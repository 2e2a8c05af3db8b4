"""The write-up: complaint, cause, correction, open points, documents."""
