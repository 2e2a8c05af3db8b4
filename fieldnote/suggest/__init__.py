"""Where the water may come in, and the order of checks."""

from fieldnote.suggest.advise import advise
from fieldnote.suggest.cautions import Cautions, load_cautions
from fieldnote.suggest.leak_map import LeakMap
from fieldnote.suggest.learning import Teacher, Vehicle, changes, families_of, learn, vehicle_of
from fieldnote.suggest.load import load_map

__all__ = [
    "Cautions",
    "LeakMap",
    "Teacher",
    "Vehicle",
    "advise",
    "changes",
    "families_of",
    "learn",
    "load_cautions",
    "load_map",
    "vehicle_of",
]
