"""Every error that fieldnote raises on purpose, as one tree.

::

    FieldnoteError                 what, where, do; exit_code
    |-- UserMistake         (1)    the request cannot be met as it was put
    |   |-- NotFound               a job, an entry, a term, a file that does not exist
    |   `-- Clash                  a name or a word that is taken already
    |-- BadData             (2)    a file or a store that cannot be used as it is
    |   |-- UnreadableSound        no sound can be had from this file
    |   |-- PackFault              a vocabulary pack with faults, all of them listed
    |   |-- StoreFault             the data folder or its database cannot be used
    |   `-- WrongHash              a file is not the one that it should be
    `-- DeviceMissing       (3)    a device, a library of the system or a model is not there
        |-- ModelMissing
        `-- MicrophoneMissing

A message has three parts, so that a front door can lay them out as it likes: *what* is wrong, *where*, and what to
*do*. Faults of our own (bugs) are not in the tree: they surface as ordinary exceptions.
"""

from __future__ import annotations

from dataclasses import dataclass


class FieldnoteError(Exception):
    """An error meant for the person at the front door; ``str()`` is one line."""

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        super().__init__(what, where, do)
        self.what = what
        self.where = where
        self.do = do

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text}. {self.do}" if self.do else text


class UserMistake(FieldnoteError):
    """The request cannot be met as it was put."""

    exit_code = 1


class NotFound(UserMistake):
    """A job, an entry, a term or a file that does not exist."""


class Clash(UserMistake):
    """A name or a spoken word that is taken already."""


class BadData(FieldnoteError):
    """A file or a store that cannot be used as it is."""

    exit_code = 2


class UnreadableSound(BadData):
    """No sound can be had from this file."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in a data file. ``line`` counts from 1; 0 where the file as a whole is meant."""

    file: str
    line: int
    key: str
    found: str
    expected: str
    nearest: str = ""

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        hint = f" (did you mean {self.nearest!r}?)" if self.nearest else ""
        return f"{place}: {self.key}: {self.found}; expected {self.expected}{hint}"


class PackFault(BadData):
    """A vocabulary pack with faults; ``faults`` lists them all, in file order."""

    def __init__(self, what: str, *, where: str = "", do: str = "", faults: tuple[Fault, ...] = ()) -> None:
        super().__init__(what, where=where, do=do)
        self.faults = faults


class StoreFault(BadData):
    """The data folder or its database cannot be used."""


class WrongHash(BadData):
    """A file is not the one that it should be."""


class DeviceMissing(FieldnoteError):
    """A device, a library of the system or a model is not there."""

    exit_code = 3


class ModelMissing(DeviceMissing):
    """A model that an engine needs is not on this machine."""


class MicrophoneMissing(DeviceMissing):
    """No microphone, or no PortAudio to reach it with."""
