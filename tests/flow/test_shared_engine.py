"""One recogniser for several: words that are kept come before captions."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np

from fieldnote.flow.shared_engine import CaptionEngine, SharedEngine
from fieldnote.testing import FakeRecogniser

SOUND = np.zeros(16_000, np.float32)


class Slow(FakeRecogniser):
    """Hears when it is let, and notes how many hear at one time."""

    def __init__(self) -> None:
        super().__init__([f"line {n}" for n in range(100)])
        self.go, self.began = threading.Event(), threading.Event()
        self.at_once = self.most = 0

    def hear(self, samples: Any, hints: Any = ()) -> Any:
        self.at_once += 1
        self.most = max(self.most, self.at_once)
        self.began.set()
        self.go.wait(5)
        self.at_once -= 1
        return super().hear(samples, hints)


def test_captions_wait_for_nobody() -> None:
    """While an utterance is heard a caption keeps its words; afterwards it is heard again."""
    slow = Slow()
    shared = SharedEngine(slow)
    captions = CaptionEngine(shared)
    hearing = threading.Thread(target=shared.hear, args=(SOUND,))
    hearing.start()
    slow.began.wait(5)
    assert captions.hear(SOUND).text == ""
    assert shared.hear_if_free(SOUND) is None
    slow.go.set()
    hearing.join(5)
    assert captions.hear(SOUND).text == "line 1"


def test_utterances_take_turns() -> None:
    """Several jobs are dictated at once: the engine hears one at a time, and each is heard."""
    slow = Slow()
    shared = SharedEngine(slow)
    threads = [threading.Thread(target=shared.hear, args=(SOUND,)) for _ in range(4)]
    for thread in threads:
        thread.start()
    slow.go.set()
    for thread in threads:
        thread.join(5)
    assert slow.most == 1 and len(slow.heard_s) == 4


def test_an_engine_that_cannot_weigh_says_so() -> None:
    """No weights, and no failure."""
    shared = SharedEngine(FakeRecogniser([]))
    assert shared.weigh(SOUND, ["left", "lift"]) == () and shared.name == "fake"
