"""The rooms of the house, each opened on first use: a command that needs no recogniser loads none."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldnote.resources import data_home
from fieldnote.settings import Settings, load_settings

if TYPE_CHECKING:
    from fieldnote.capture.sound import Samples
    from fieldnote.extract import Extractor
    from fieldnote.recognize import Engine, Heard
    from fieldnote.store import Store
    from fieldnote.store.summary_rows import Summarizer
    from fieldnote.suggest import Cautions, LeakMap
    from fieldnote.vocabulary import Pack


class Rooms:
    """What ``take``, ``next_checks`` and ``write_up`` need, for one data folder and one vocabulary pack."""

    def __init__(self, home: Path | None = None, *, pack: str | None = None, settings: Settings | None = None) -> None:
        self.home = home if home is not None else data_home()
        self._pack_name = pack
        self._settings = settings

    @cached_property
    def settings(self) -> Settings:
        """The machine's settings."""
        return self._settings if self._settings is not None else load_settings()

    @cached_property
    def store(self) -> Store:
        """The kept jobs."""
        from fieldnote.store import Store

        return Store(self.home, summarizer=self._summarizer_at_hand)

    def _summarizer_at_hand(self) -> Summarizer | None:
        """What keeps the summaries of jobs up, where all that it needs was loaded for something else: nobody who
        changes a name waits for a vocabulary. Otherwise summaries stay due until somebody looks at many jobs."""
        at_hand = "pack" in self.__dict__ and ("leak_map" in self.__dict__ or not self.has_map)
        return self.summarizer if at_hand else None

    @cached_property
    def summarizer(self) -> Summarizer:
        """What makes the summaries of this vocabulary's jobs, for looking at many of them."""
        from fieldnote.patterns.summaries import VisitSummaries

        return VisitSummaries(self.pack, lambda: self.leak_map if self.has_map else None)

    @property
    def has_map(self) -> bool:
        """Whether the vocabulary comes with a leak map."""
        from fieldnote.patterns.summaries import MAP_FILE

        return any((folder / MAP_FILE).is_file() for folder in self.pack.folders)

    @cached_property
    def pack(self) -> Pack:
        """The vocabulary, the additions of the data folder included."""
        from fieldnote.vocabulary import load_pack

        return load_pack(self._pack_name or self.settings.pack.name, self.home)

    @cached_property
    def extractor(self) -> Extractor:
        """What makes entries of words."""
        from fieldnote.extract import Extractor

        return Extractor(self.pack)

    @cached_property
    def engine(self) -> Engine:
        """What hears; its model is loaded when it first hears something."""
        return _WaitingEngine(self)

    @cached_property
    def leak_map(self) -> LeakMap:
        """Where water may come in, and where it then shows."""
        from fieldnote.suggest import load_map

        return load_map(self.pack)

    @cached_property
    def cautions(self) -> Cautions:
        """What to be careful with."""
        from fieldnote.suggest import load_cautions

        return load_cautions(self.pack)

    def for_pack(self, name: str) -> Rooms:
        """The same rooms with another vocabulary: that of a job."""
        if name == (self._pack_name or self.settings.pack.name):
            return self
        other = Rooms(self.home, pack=name, settings=self.settings)
        other.__dict__["store"] = self.store
        if not isinstance(self.engine, _WaitingEngine):
            other.__dict__["engine"] = self.engine  # one that was put in by hand; an opened one knows its pack's words
        return other


class _WaitingEngine:
    """An engine that is opened when it first hears: taking what a job has already loads no model."""

    def __init__(self, rooms: Rooms) -> None:
        self._rooms = rooms
        self._opened: Any = None

    @property
    def name(self) -> str:
        """The engine's name, as in the settings."""
        return self._rooms.settings.recognize.engine

    def hear(self, samples: Samples, hints: Sequence[str] = ()) -> Heard:
        """The words in ``samples``."""
        heard: Heard = self._open().hear(samples, hints)
        return heard

    def weigh(self, samples: Samples, texts: Sequence[str]) -> tuple[float, ...]:
        """How well each text fits; () where the engine cannot tell."""
        opened = self._open()
        weighed: tuple[float, ...] = opened.weigh(samples, texts) if hasattr(opened, "weigh") else ()
        return weighed

    def _open(self) -> Any:
        if self._opened is None:
            from fieldnote.recognize import open_engine

            self._opened = open_engine(self._rooms.settings.recognize, self._rooms.pack, self._rooms.home)
        return self._opened
