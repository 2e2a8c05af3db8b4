"""One settings file, checked against its dataclasses.

``defaults.toml`` beside this module is the commented original and holds every value; a shop's own file is
``settings.toml`` in the data folder and may name any part of it. Unknown keys and wrong types are refused.
"""

from __future__ import annotations

import dataclasses
import tomllib
import typing
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldnote.errors import BadData
from fieldnote.resources import data_home

FILE_NAME = "settings.toml"


@dataclass(frozen=True, slots=True)
class CaptureSettings:
    """How sound is cut into utterances."""

    end_silence_s: float
    short_word_s: float
    short_end_silence_s: float
    longest_piece_s: float
    speech_prob: float
    pad_s: float
    shortest_speech_s: float


@dataclass(frozen=True, slots=True)
class RecognizeSettings:
    """Which engine hears, and with which model."""

    engine: str
    model: str
    threads: int
    beam: int
    hints: bool
    trade_language: bool
    word_times: bool


@dataclass(frozen=True, slots=True)
class PackSettings:
    """Which vocabulary pack is used for new jobs."""

    name: str


@dataclass(frozen=True, slots=True)
class KeepSettings:
    """How long sound is kept. 0 keeps it until it is deleted by hand."""

    sound_days: int


@dataclass(frozen=True, slots=True)
class ListenSettings:
    """How a live microphone is listened to."""

    device: str
    call_word: str
    answers: str
    headset: bool
    captions: bool
    warn_speech_s: float
    clip_silence_s: float


@dataclass(frozen=True, slots=True)
class PatternSettings:
    """How jobs are looked at together."""

    level: float
    few: int
    charts: int
    prior_jobs: float
    repeat_days: int
    longest_find_min: float


@dataclass(frozen=True, slots=True)
class RoleSettings:
    """Which roles may do what on the pages: names of roles with spaces or commas between them."""

    dictate: str
    correct: str
    play_sound: str
    sign_off: str
    claim: str
    take_documents: str
    take_names_and_sound: str
    delete_sound: str
    change_words: str
    see_patterns: str


@dataclass(frozen=True, slots=True)
class SignInSettings:
    """How long a sign-in to the pages and an invitation to it are good for."""

    idle_hours: float
    longest_days: float
    invite_hours: float


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything that can be set."""

    capture: CaptureSettings
    recognize: RecognizeSettings
    pack: PackSettings
    keep: KeepSettings
    listen: ListenSettings
    patterns: PatternSettings
    sign_in: SignInSettings
    roles: RoleSettings


def defaults_path() -> Path:
    """The commented file that holds every default."""
    return Path(__file__).with_name("defaults.toml")


def load_settings(path: Path | None = None) -> Settings:
    """The defaults, overlaid by ``path`` or by the settings file in the data folder where there is one.

    Raises:
        BadData: the file is no TOML, names an unknown key or gives a value of the wrong type.

    """
    values = _read(defaults_path())
    own = path if path is not None else data_home() / FILE_NAME
    if own.is_file():
        _overlay(values, _read(own), str(own))
    return typing.cast(Settings, _build(Settings, values, str(own)))


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise BadData(
            f"not a settings file ({error})", where=str(path), do="Mend the line, or remove the file."
        ) from error
    except OSError as error:
        raise BadData(f"cannot be read ({error.strerror})", where=str(path), do="Check its permissions.") from error


def _overlay(values: dict[str, Any], own: dict[str, Any], where: str) -> None:
    for section, table in own.items():
        if section not in values or not isinstance(table, dict):
            raise BadData(f"unknown section {section!r}", where=where, do=f"Sections are: {', '.join(values)}.")
        for key, value in table.items():
            if key not in values[section]:
                known = ", ".join(values[section])
                raise BadData(f"unknown key {section}.{key}", where=where, do=f"Keys of [{section}] are: {known}.")
            values[section][key] = value


def _build(record: type, values: dict[str, Any], where: str) -> object:
    """Fill ``record`` from ``values``; every field must be there and of its declared type."""
    hints = typing.get_type_hints(record)
    filled: dict[str, Any] = {}
    for f in dataclasses.fields(record):
        declared, value = hints[f.name], values.get(f.name)
        if dataclasses.is_dataclass(declared):
            filled[f.name] = _build(typing.cast(type, declared), typing.cast(dict[str, Any], value), where)
            continue
        if declared is float and isinstance(value, int) and not isinstance(value, bool):
            value = float(value)
        if type(value) is not declared:
            raise BadData(
                f"{f.name} = {value!r} is not a {declared.__name__}", where=where, do="Give a value of that type."
            )
        filled[f.name] = value
    return record(**filled)
