"""Engines that are slow to open, opened once."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from fieldnote.recognize.model_files import ModelFolder, load_manifest
from fieldnote.recognize.whisper_engine import WhisperEngine
from fieldnote.settings import RecognizeSettings, Settings, load_settings

REPOSITORY = Path(__file__).parents[2]
BASE_VARIABLE = "FIELDNOTE_BASE_MODEL"


def defaults() -> Settings:
    return load_settings(REPOSITORY / "fieldnote" / "defaults.toml")


@pytest.fixture(scope="session")
def options() -> RecognizeSettings:
    """The settings that are shipped, whatever this machine's own are."""
    return defaults().recognize


@pytest.fixture(scope="session")
def default_engine(options: RecognizeSettings) -> WhisperEngine:
    """The embedded default, as users have it."""
    return WhisperEngine.open(options)


@pytest.fixture(scope="session")
def base_engine(options: RecognizeSettings) -> WhisperEngine:
    """Plain tiny.en, padded to 30 s; its files are too large for this repository."""
    named = os.environ.get(BASE_VARIABLE)
    folder = Path(named) if named else REPOSITORY.parent / "shared" / "recogniser" / "base"
    if not (folder / "model.bin").is_file():
        pytest.skip(f"plain tiny.en is not at hand: name its folder in {BASE_VARIABLE}")
    return WhisperEngine.load(ModelFolder(folder, load_manifest()["whisper-tiny.en"], shipped=False), options)
