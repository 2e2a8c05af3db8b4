"""Loads and checks a trade's words."""

from fieldnote.vocabulary.load import load_pack
from fieldnote.vocabulary.pack import Pack

__all__ = ["Pack", "load_pack"]
