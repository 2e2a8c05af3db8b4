"""Fills the frames of ``frames.txt`` with a pack's words: sentences as people dictate them, with every phrase in its turn.

``texts.py`` puts these beside its own grammar, which is wilder. A phrase of the pack comes from a shuffled deck, so that
each is said before one is said again; every second one is drawn by how usual it is.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

FRAMES = Path(__file__).with_name("frames.txt")
_SLOT = re.compile(r"\{(\w+)\}")
# Contractions that a pack writes without their mark, as recognisers do; the recogniser itself must learn the mark.
_MARKS = {
    word.replace("'", ""): word
    for word in ("don't", "doesn't", "didn't", "isn't", "wasn't", "aren't", "weren't", "won't", "can't", "couldn't",
                 "hasn't", "haven't", "wouldn't", "shouldn't", "that's", "there's", "what's", "where's")
}  # fmt: skip
_POST = re.compile(r"\b([a-f])[ -](pillar|post)\b")
_LETTER = re.compile(r"(?<![A-Za-z'-])[b-z](?![A-Za-z'])")
_VERBAL = (
    "is ",
    "was ",
    "are ",
    "has ",
    "had ",
    "have ",
    "does",
    "did",
    "do ",
    "don't",
    "can",
    "could",
    "won",
    "gets ",
)
_DRY = (
    "dry",
    "stays dry",
    "stayed dry",
    "no leak",
    "no water",
    "nothing came through",
    "bone dry",
    "all dry",
    "dry inside",
)
_SHOWS = (
    "it leaks",
    "leaks",
    "water comes in",
    "it leaked",
    "water came in",
    "it's leaking",
    "leaking",
    "drips inside",
)
_COLOURS = ("white", "black", "silver", "gray", "red", "blue", "green", "dark blue", "pearl white", "charcoal", "beige")
_FRACTIONS = (
    "a quarter", "one quarter", "three quarters", "half", "one half", "a half", "an eighth", "one eighth", "three eighths",
    "five eighths", "seven eighths", "one sixteenth", "a sixteenth", "three sixteenths", "five sixteenths",
    "seven sixteenths", "nine sixteenths", "eleven sixteenths", "one third", "two thirds", "a thirty second",
)  # fmt: skip
_LONE_FRACTIONS = ("a half", "a quarter", "three quarters", "an eighth", "three eighths", "five eighths", "seven eighths",
                   "one sixteenth", "three sixteenths", "five sixteenths", "a third", "two thirds")  # fmt: skip
_UNITS = ("millimeters", "millimeters", "inches", "centimeters")

Maker = Callable[[], str]


class Deck:
    """Gives every phrase once, in an order of its own, before any comes again; or by weight, turn and turn about."""

    def __init__(self, phrases: list[str], dice: random.Random) -> None:
        self._all, self._dice, self._left = phrases or [""], dice, list[str]()

    def draw(self) -> str:
        """The next phrase."""
        if self._dice.random() < 0.5:
            return self._dice.choice(self._all)
        if not self._left:
            self._left = sorted(set(self._all))
            self._dice.shuffle(self._left)
        return self._left.pop()


def with_marks(text: str) -> str:
    """Contractions with their apostrophe, and letters that are said as letters as capitals ("A-pillar", "D post")."""
    marked = " ".join(_MARKS.get(word, word) for word in text.split())
    return _LETTER.sub(lambda m: m[0].upper(), _POST.sub(lambda m: f"{m[1].upper()}-{m[2]}", marked))


def with_article(noun: str) -> str:
    """A or an before it, by its first letter; nothing before what takes no article."""
    if noun.split()[0] in ("a", "an", "the", "one", "some", "water", "moisture", "rust", "dampness") or noun.endswith(
        "s"
    ):
        return noun
    return ("an " if noun[0] in "aeiou" else "a ") + noun


def plural(phrase: str) -> str:
    """The plural of a part as it is said: good enough for what is only read aloud."""
    if phrase.endswith(("s", "x", "ch", "sh")):
        return phrase if phrase.endswith("s") and not phrase.endswith("ss") else phrase + "es"
    return phrase[:-1] + "ies" if phrase.endswith("y") and phrase[-2:-1] not in "aeiou" else phrase + "s"


class Frames:
    """Sentences from the frames. ``speaker`` is the grammar of texts.py, which spells and says numbers."""

    def __init__(self, speaker: Any, dice: random.Random) -> None:
        self._dice, self._speaker = dice, speaker
        self._frames: list[str] = []
        self._weights: list[int] = []
        for line in FRAMES.read_text(encoding="utf-8").splitlines():
            if line and not line.startswith("#"):
                count, _, rest = line.partition(" ")
                self._frames.append(rest if count.isdigit() else line)
                self._weights.append(int(count) if count.isdigit() else 1)
        words = speaker.w
        plain = [phrase for phrase in words.faults if not with_marks(phrase).startswith(_VERBAL)]
        decks = {
            "spot": words.places, "thing": words.parts, "bad": plain, "nbad": words.fault_names, "good": words.fine,
            "wet": words.signs, "awet": words.sign_names or words.signs, "undo": words.undo, "do": words.mend,
            "method": words.methods, "material": words.materials,
        }  # fmt: skip
        self._decks = {name: Deck(phrases, dice) for name, phrases in decks.items()}

    def sentence(self) -> str:
        """One utterance, without capital and full stop."""
        frame = self._dice.choices(self._frames, self._weights)[0]
        self._side = ""
        return with_marks(_SLOT.sub(lambda slot: self._fill(slot[1]), frame))

    def _fill(self, slot: str) -> str:
        dice, speaker = self._dice, self._speaker
        made: dict[str, Maker] = {
            "place": lambda: self._sided("spot", 0.4),
            "part": self._part,
            "things": lambda: plural(self._decks["thing"].draw()),
            "abad": lambda: with_article(self._decks["nbad"].draw()),
            "awet": lambda: with_article(self._decks["awet"].draw()),
            "undid": lambda: speaker.past(self._decks["undo"].draw()),
            "did": lambda: speaker.past(self._decks["do"].draw()),
            "side": self._one_side,
            "otherside": lambda: "left" if self._side == "right" else "right",
            "dry": lambda: dice.choice(_DRY),
            "shows": lambda: dice.choice(_SHOWS),
            "leaks": lambda: dice.choice(("leaks", "leaked", "drips", "dripped")),
            "n": lambda: speaker.number(12),
            "nn": lambda: speaker.number(99),
            "time": self._time,
            "size": self._size,
            "frac": lambda: dice.choice(_FRACTIONS),
            "mixed": lambda: f"{speaker.number(12)} and {dice.choice(_LONE_FRACTIONS)}",
            "decimal": self._decimal,
            "unit": lambda: dice.choice(_UNITS),
            "torque": lambda: f"{speaker.number(99)} {dice.choice(('inch pounds', 'foot pounds', 'newton meters'))}",
            "colour": lambda: dice.choice(_COLOURS),
        }
        if slot in made:
            return made[slot]()
        if slot in self._decks:
            return self._decks[slot].draw()
        text: str = speaker.counted(slot)
        return text

    def _one_side(self) -> str:
        self._side = self._dice.choice(("left", "right"))
        return self._side

    def _sided(self, deck: str, chance: float) -> str:
        side = self._dice.choice(("left ", "right ", "left rear ", "right front ", "left front ", "right rear ",
                                  "driver side ", "passenger side "))  # fmt: skip
        return (side if self._dice.random() < chance else "") + self._decks[deck].draw()

    def _part(self) -> str:
        thing = self._sided("thing", 0.3)
        return f"{self._decks['spot'].draw()} {thing}" if self._dice.random() < 0.25 else thing

    def _time(self) -> str:
        dice = self._dice
        whole = f"{self._speaker.number(60)} {dice.choice(('minutes', 'minutes', 'seconds'))}"
        return dice.choice((whole, whole, "a minute", "one minute", "a minute and a half", "half a minute", "two and a half minutes",
                            "a couple of minutes", "about a minute", f"{self._speaker.number(9)} minutes and {self._speaker.number(59)} seconds"))  # fmt: skip

    def _size(self) -> str:
        dice, speaker = self._dice, self._speaker
        whole = f"{speaker.number(24)} {dice.choice(('inches', 'inches', 'millimeters', 'centimeters', 'feet'))}"
        return dice.choice((
            whole, whole, f"{dice.choice(_FRACTIONS)} {dice.choice(('of an inch', 'inch'))}",
            f"{speaker.number(9)} and {dice.choice(_LONE_FRACTIONS)} inches",
            f"{self._decimal()} {dice.choice(_UNITS)}", "an inch", "half an inch", "about an inch", "an inch and a half",
            "one inch", "a couple of inches",
        ))  # fmt: skip

    def _decimal(self) -> str:
        dice = self._dice
        after = " ".join(self._speaker.number(9) for _ in range(dice.choice((1, 1, 1, 2))))
        whole = "" if dice.random() < 0.12 else "zero " if dice.random() < 0.15 else f"{self._speaker.number(30)} "
        return f"{whole}point {after}"
