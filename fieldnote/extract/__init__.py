"""Words to entries: ``Extractor(pack)``, then ``start``, ``step`` and ``run``."""

from fieldnote.extract.extractor import VERSION, Extractor
from fieldnote.extract.state import Changes, Extraction, State

__all__ = ["VERSION", "Changes", "Extraction", "Extractor", "State"]
