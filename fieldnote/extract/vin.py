"""Vehicle identification numbers: read as spelled, checked by 49 CFR 565, mended only as a proposal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

VinStatus = Literal["valid", "unchecked", "wrong", "incomplete", "too-long", "none"]


@dataclass(frozen=True, slots=True)
class Proposal:
    """A VIN that differs in one said-alike character and has the right check digit. Never taken without asking."""

    vin: str
    position: int
    heard: str
    instead: str
    why: str
    year: int | None = None


@dataclass(frozen=True, slots=True)
class VinReading:
    """What was read.

    ``status``: ``valid`` (17 characters, check digit right), ``unchecked`` (17 characters, none that a check digit could
    confirm: a maker outside North America may not use one), ``wrong`` (check digit is required and fails),
    ``incomplete``, ``too-long``, ``none`` (nothing spelled). ``proposal`` is set where exactly one said-alike slip makes
    the check digit right; ``candidates`` lists all that would. ``year`` is the model year where it can be told.
    """

    vin: str
    status: VinStatus
    year: int | None = None
    proposal: Proposal | None = None
    candidates: tuple[Proposal, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class VinMention:
    """A VIN in ``tokens[start:end]`` (from its first character to its last; the cue word is not in it)."""

    start: int
    end: int
    reading: VinReading


def read_vin(text: str) -> VinReading:
    """The VIN spelled in ``text``, which may say "vin" first."""
    raise NotImplementedError


def read_vin_over(texts: Sequence[str]) -> VinReading:
    """The VIN spelled over several utterances, joined in their order."""
    raise NotImplementedError


def find_vin(tokens: Sequence[str]) -> VinMention | None:
    """A whole VIN among other words: after the word "vin", or 17 characters written together or spelled in a row."""
    raise NotImplementedError
