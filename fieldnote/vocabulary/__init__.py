"""Loads and checks a trade's words."""
