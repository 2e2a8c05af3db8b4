"""fieldnote: dictated leak diagnosis, from sound to a write-up, on one machine and offline.

The rooms, in the order in which a record walks through them::

    capture -> recognize -> extract -> store -> suggest -> narrate
    (sound)   (words)     (entries) (jobs)  (next)    (the write-up)

Import a room from its own package (``fieldnote.extract`` and so on); this package itself imports none of them,
so that ``import fieldnote`` works on a machine that lacks every speech library.
"""

__version__ = "0.1.0"

__all__ = ["__version__"]
