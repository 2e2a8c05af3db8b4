"""Words to entries: ``Extractor(pack)``, then ``start``, ``step`` and ``run``."""

from fieldnote.extract.extractor import STEERING_QUESTION, VERSION, VIN_QUESTION, Extractor
from fieldnote.extract.state import Changes, Extraction, State

__all__ = ["STEERING_QUESTION", "VERSION", "VIN_QUESTION", "Changes", "Extraction", "Extractor", "State"]
