"""Entries and checks in words that are spoken, and the voice that speaks them."""

from __future__ import annotations

import shutil
import subprocess
import threading
from collections.abc import Callable, Sequence
from typing import Any, Protocol

import numpy as np

from fieldnote.errors import DeviceMissing, NotFound
from fieldnote.records import Advice, Entry, Step
from fieldnote.vocabulary import Pack

_DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_WORDS_A_MINUTE = 155
_TONE_RATE_HZ = 16_000
_INSTALL = "Install espeak-ng (apt install espeak-ng), or the speech extra: pip install fieldnote[speech]."

# Told apart by rising and falling, which is heard through noise better than pitch alone. (hertz, seconds)
KEPT = ((880.0, 0.09), (1320.0, 0.09))
NOT_UNDERSTOOD = ((440.0, 0.16), (330.0, 0.2))
WARNING = ((660.0, 0.12), (0.0, 0.08), (660.0, 0.12), (0.0, 0.08), (660.0, 0.12))
Tone = tuple[tuple[float, float], ...]


class Voice(Protocol):
    """What speaks."""

    @property
    def active(self) -> bool:
        """Whether it is speaking now. Tones do not count: no recogniser takes them for words, and whoever goes on
        speaking while one sounds must be heard.
        """

    def say(self, text: str) -> None:
        """Begin to say ``text``; what was being said is broken off."""

    def tone(self, tone: Tone) -> None:
        """Begin to sound a tone."""

    def stop(self) -> None:
        """Be silent."""


# ---- words ----------------------------------------------------------------------------------------------------


def spoken(entry: Entry, pack: Pack) -> str:
    """An entry in plain words, such as "right roof rack, screw three loose"."""
    if entry.kind == "fact":
        return " ".join(filter(None, (_name(pack, "fact", entry.what), str(entry.value), entry.unit or "")))
    where = " ".join(filter(None, (_side(entry), _name(pack, "place", entry.place))))
    found = " ".join(
        filter(
            None,
            (
                *entry.at,
                _name(pack, "part", entry.part),
                number(entry.item) if entry.item is not None else "",
                "test" if entry.kind == "test" and not entry.part else "",
                "" if entry.present else "no",
                _name(pack, "state", entry.state),
                *(f"{number(q.value)} {_unit(pack, q.unit, q.value)}".rstrip() for q in entry.quantities),
                f"with {_name(pack, 'material', entry.material)}" if entry.material else "",
            ),
        )
    )
    lead = {"source": "source: ", "plan": "to do: "}.get(entry.kind, "")
    doubt = ", not sure" if entry.certainty == "unsure" else ""
    return lead + ", ".join(filter(None, (where, found))) + doubt


def confirmed(entries: Sequence[Entry], pack: Pack) -> str:
    """The words of new entries that must not be misheard: side, "no", number and source; "" where there are none."""
    said: list[str] = []
    for entry in entries:
        if entry.kind == "source":
            said.append(spoken(entry, pack))
            continue
        numbers = [] if entry.item is None else [number(entry.item)]
        numbers += [f"{number(q.value)} {_unit(pack, q.unit, q.value)}".rstrip() for q in entry.quantities]
        said += [word for word in (_side(entry), "" if entry.present else "no", *numbers) if word]
    return ", ".join(dict.fromkeys(said))


def next_aloud(advice: Advice, pack: Pack) -> str:
    """The first step with its reason and its caution, to be spoken."""
    if not advice.plan:
        return "Nothing is left to look for."
    step = advice.plan[0]
    parts = [step_words(step, pack), step.because]
    caution = next(iter((*step.cautions, *advice.cautions)), "")
    if caution:
        parts.append(f"Caution: {caution}")
    return " ".join(_sentence(part) for part in parts if part)


def checks(advice: Advice, pack: Pack, lines: int) -> tuple[str, ...]:
    """The first steps as lines, the caution of the first one after it."""
    out: list[str] = []
    for step in advice.plan[:lines]:
        out.append(f"{step_words(step, pack)}, {step.minutes:g} min")
        if len(out) == 1:
            out += [f"caution: {caution}" for caution in (*step.cautions, *advice.cautions)[:1]]
    return tuple(out[:lines])


def step_words(step: Step, pack: Pack) -> str:
    """What a step asks for, in plain words."""
    side = "both sides" if step.side == "both" else step.side or ""
    where = " ".join(filter(None, (side, _name(pack, "place", step.place), _name(pack, "part", step.part))))
    if step.do == "look":
        return f"Look at the {where or step.name}"
    return f"{_name(pack, 'method', step.method)} test, {where or step.name}".strip(" ,").capitalize()


def number(value: float | int) -> str:
    """Small whole numbers as words, others as digits."""
    if float(value).is_integer() and 0 <= value < len(_DIGITS):
        return _DIGITS[int(value)]
    return f"{value:g}"


def _side(entry: Entry) -> str:
    return "both sides" if entry.side == "both" else entry.side or ""


def _name(pack: Pack, kind: str, id: str | None) -> str:
    if not id:
        return ""
    try:
        return pack.term(kind, id).name
    except NotFound:
        return id.replace("-", " ")


def _unit(pack: Pack, symbol: str, value: float) -> str:
    for unit in pack.terms("unit"):
        if getattr(unit, "symbol", None) == symbol:
            return unit.name if value == 1 else unit.plural or unit.name
    return symbol


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


# ---- voices ---------------------------------------------------------------------------------------------------


class Silence:
    """No answers aloud."""

    active = False

    def say(self, text: str) -> None:
        """Says nothing."""

    def tone(self, tone: Tone) -> None:
        """Sounds nothing."""

    def stop(self) -> None:
        """Is silent."""


class Tones:
    """Tones through the system's output, and nothing spoken."""

    def __init__(self, play: Callable[[Any, int], None]) -> None:
        self._play = play
        self._sounding: threading.Thread | None = None

    @property
    def active(self) -> bool:
        """It never speaks."""
        return False

    def say(self, text: str) -> None:
        """Says nothing."""

    def tone(self, tone: Tone) -> None:
        """Begin to sound a tone; one that sounds is left to end."""
        if self._sounding is not None and self._sounding.is_alive():
            return
        self._sounding = threading.Thread(target=self._play, args=(samples_of(tone), _TONE_RATE_HZ), daemon=True)
        self._sounding.start()

    def stop(self) -> None:
        """Tones are too short to be stopped."""


class SystemVoice(Tones):
    """Speaks through a program of the system that is given the text as its last argument."""

    def __init__(self, play: Callable[[Any, int], None], command: Sequence[str]) -> None:
        super().__init__(play)
        self._command = list(command)
        self._speaking: subprocess.Popen[bytes] | None = None

    @property
    def active(self) -> bool:
        """Whether it is speaking now."""
        return self._speaking is not None and self._speaking.poll() is None

    def say(self, text: str) -> None:
        """Begin to say ``text``; what was being said is broken off."""
        self.stop()
        self._speaking = subprocess.Popen(
            [*self._command, text], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )

    def stop(self) -> None:
        """Be silent."""
        speaking, self._speaking = self._speaking, None
        if speaking is not None:
            if speaking.poll() is None:
                speaking.terminate()
            speaking.wait()


def open_voice(answers: str, play: Callable[[Any, int], None]) -> Voice:
    """The voice that the setting ``answers`` asks for.

    Raises:
        DeviceMissing: speech is asked for and this machine has no voice.

    """
    if answers == "off":
        return Silence()
    if answers == "tones":
        return Tones(play)
    return SystemVoice(play, _speech_command())


def _speech_command() -> list[str]:
    """The program that speaks: espeak-ng, or pyttsx3 in a process of its own so that it can be stopped at once."""
    import importlib.util
    import sys

    for program in ("espeak-ng", "espeak"):
        found = shutil.which(program)
        if found:
            return [found, "-s", str(_WORDS_A_MINUTE), "--"]
    if importlib.util.find_spec("pyttsx3") is not None:
        speak = "import sys, pyttsx3; v = pyttsx3.init(); v.say(sys.argv[1]); v.runAndWait()"
        return [sys.executable, "-c", speak]
    raise DeviceMissing("this machine has no voice to answer with", where="answers = speech", do=_INSTALL)


def samples_of(tone: Tone) -> Any:
    """A tone as 16-bit samples, faded in and out so that it does not click."""
    parts = []
    for hertz, long_s in tone:
        t = np.arange(round(long_s * _TONE_RATE_HZ)) / _TONE_RATE_HZ
        fade = np.minimum(1.0, np.minimum(t, t[::-1]) / 0.01)
        parts.append(0.4 * fade * np.sin(2 * np.pi * hertz * t))
    return (np.concatenate(parts) * 32767).astype(np.int16)
