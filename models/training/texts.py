"""Training text for the recogniser, walked out of a vocabulary pack: every term and spoken variant, as people dictate.

A lead who extends the pack makes new text with the same command, and can retrain::

    python models/training/texts.py body-leaks --count 8000 --seed 5 > trade.txt

No sentence of any test set is in it: the frames below are this file's own, and the bench has its own texts.
"""

from __future__ import annotations

import argparse
import random
import re
import sys
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fieldnote.vocabulary import load_pack
from fieldnote.vocabulary.phonetics import phrase_key

sys.path.insert(0, str(Path(__file__).parent))  # run as a program or imported by the tests: its neighbour is found
from frames import Frames, with_marks

ICAO = [
    "alfa",
    "bravo",
    "charlie",
    "delta",
    "echo",
    "foxtrot",
    "golf",
    "hotel",
    "india",
    "juliett",
    "kilo",
    "lima",
    "mike",
    "november",
    "oscar",
    "papa",
    "quebec",
    "romeo",
    "sierra",
    "tango",
    "uniform",
    "victor",
    "whiskey",
    "x-ray",
    "yankee",
    "zulu",
]
DIGITS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
TEENS = ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]
TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
MONTHS = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
]
PLAIN_PASTS = {
    "bend": "bent", "blow": "blew", "build": "built", "cut": "cut", "do": "did", "fit": "fitted", "get": "got", "hold": "held",
    "knock": "knocked", "lay": "laid", "let": "let", "put": "put", "redo": "redid", "run": "ran", "set": "set", "stick": "stuck",
    "take": "took", "undo": "undid", "wind": "wound",
}  # fmt: skip
FILLERS = ("Okay, so", "Um,", "Uh,", "All right,", "So,", "And", "Now", "Okay,", "Well,", "Right, so")
LEADS = (
    "Looks like",
    "I think",
    "Could be that",
    "It seems",
    "Pretty sure",
    "Found that",
    "I can see that",
    "Turns out",
)
WHERE = (
    "at the top",
    "at the bottom",
    "at the front",
    "at the rear",
    "in the corner",
    "along the edge",
    "halfway up",
    "on the inside",
    "on the outside",
    "in the middle",
    "at the upper rear corner",
    "at the lower front corner",
)


@dataclass
class Words:
    """The pack's phrases by their role in a sentence."""

    places: list[str]
    parts: list[str]
    sides: list[str]
    faults: list[str]
    fault_names: list[str]
    fine: list[str]
    signs: list[str]
    sign_names: list[str]
    undo: list[str]
    mend: list[str]
    methods: list[str]
    materials: list[str]
    torques: list[str]
    commands: list[str]


def gather(pack: Any) -> Words:
    """Sort the pack's spoken variants by role. Very short letter forms are left to the spelled strings."""

    def says(kind: str) -> list[str]:
        # The usual words come first in the pack and are said most; the rare ones still come up.
        out = []
        for term in pack.terms(kind):
            phrases = [say for say in one_spelling((term.name, *term.say)) if len(say) > 2]
            out += phrases[:1] * 6 + phrases[1:5] * 3 + phrases[5:]
        return out

    def of(kind: str, attribute: str, keep: Callable[[Any], bool] = lambda state: True) -> list[str]:
        return [
            say
            for state in pack.terms("state")
            if kind in state.kinds and keep(state)
            for say in getattr(state, attribute)
        ]

    return Words(
        places=says("place"),
        parts=says("part"),
        sides=[say for says_ in pack.sides.values() for say in says_ if len(say) > 3] or ["left", "right"],
        faults=of("check", "say", lambda s: s.id != "ok"),
        fault_names=of("check", "nouns", lambda s: s.id != "ok"),
        fine=of("check", "say", lambda s: s.id == "ok"),
        signs=of("evidence", "say"),
        sign_names=of("evidence", "nouns"),
        undo=of("access", "verbs"),
        mend=of("repair", "verbs"),
        methods=says("method"),
        materials=says("material"),
        torques=[unit.name for unit in pack.terms("unit") if unit.measures == "torque"] or ["newton metres"],
        commands=[say for command in pack.terms("command") for say in command.say],
    )


def one_spelling(phrases: Iterable[str]) -> list[str]:
    """The first of each group that differs in spelling alone ("weatherstrip", "weather strip", "moulding").

    The pack lists what recognisers write; the recogniser itself must learn one way of writing each sound.
    """
    kept: dict[str, str] = {}
    for phrase in phrases:
        kept.setdefault(phrase_key(phrase.lower().replace("-", " ").replace(" ", "")), phrase)
    return list(kept.values())


class Speaker:
    """Makes sentences; all choices come from ``dice``."""

    def __init__(self, words: Words, irregular: dict[str, str], dice: random.Random) -> None:
        self.w, self.irregular, self.dice = words, irregular, dice

    # -- pieces -------------------------------------------------------------------------------------------------
    def one(self, choices: Iterable[str]) -> str:
        return self.dice.choice(list(choices) or [""])

    def past(self, phrase: str) -> str:
        verb, *rest = phrase.split()
        if verb in self.irregular:
            done = self.irregular[verb]
        elif verb.endswith("e"):
            done = verb + "d"
        elif verb.endswith("y") and verb[-2:-1] not in "aeiou":
            done = verb[:-1] + "ied"
        elif re.fullmatch(r"[^aeiou]*[aeiou][^aeiouwxy]", verb):
            done = verb + verb[-1] + "ed"
        else:
            done = verb + "ed"
        return " ".join([done, *rest])

    def number(self, top: int = 99) -> str:
        n = self.dice.randint(1, top)
        return in_words(n)

    def place(self) -> str:
        side = self.one(self.w.sides) + " " if self.dice.random() < 0.45 else ""
        return side + self.one(self.w.places)

    def part(self) -> str:
        roll = self.dice.random()
        if roll < 0.2:
            return (
                f"{self.one(self.w.parts)} {self.one(['at', 'on', 'by', 'in', 'behind', 'under'])} the {self.place()}"
            )
        return (self.one(self.w.sides) + " " if roll < 0.4 else "") + self.one(self.w.parts)

    def finding(self) -> str:
        roll = self.dice.random()
        if roll < 0.5:
            return f"{self.one(['is', 'was', 'looks', 'is still', 'has come'])} {self.one(self.w.faults)}"
        if roll < 0.75:
            return f"has {self.one(['a', 'one', 'another', 'a small'])} {self.one(self.w.fault_names)}"
        return f"{self.one(['is', 'looks', 'was'])} {self.one(self.w.fine)}"

    def size(self) -> str:
        unit = self.one(["inches", "inch", "millimeters", "millimetres", "mil", "centimeters", "feet"])
        how = self.one([self.number(12), "half an", "a quarter", "three quarters of an", "one and a half", "two"])
        return f"{how} {unit}"

    def time(self) -> str:
        unit = self.one(["minutes", "minutes", "seconds"])
        return self.one(
            [f"{self.number(60)} {unit}", "a minute", "a minute and a half", "half a minute", "a couple of minutes"]
        )

    # -- spelled ------------------------------------------------------------------------------------------------
    def character(self, how: str) -> str:
        if self.dice.random() < 0.5:
            return self.one(DIGITS) if self.dice.random() < 0.9 else self.one(["oh", "niner"])
        letter = self.dice.randrange(26)
        return ICAO[letter] if how == "icao" or (how == "mixed" and self.dice.random() < 0.5) else chr(65 + letter)

    def spelled(self, length: int) -> str:
        how = self.one(["icao", "letters", "mixed"])
        out: list[str] = []
        while len(out) < length:
            out.append(
                self.one(["double ", "triple "] if self.dice.random() < 0.2 else [""]) + self.character(how)
                if self.dice.random() < 0.08
                else self.character(how)
            )
        return " ".join(out)

    def counted(self, slot: str) -> str:
        """What the frames call ``vin``, ``spell8``, ``spell6``, ``spelled``, ``letters``, ``odo``, ``ododigits``, ``month``, ``year``.

        Raises:
            KeyError: no slot has that name.
        """
        dice = self.dice
        made: dict[str, Callable[[], str]] = {
            "vin": lambda: self.spelled(17),
            "spell8": lambda: self.spelled(8),
            "spell6": lambda: self.spelled(6),
            "spelled": lambda: self.spelled(dice.randint(5, 7)),
            "letters": lambda: " ".join(chr(65 + dice.randrange(26)) for _ in range(dice.randint(1, 5))),
            "odo": lambda: in_words(dice.choice((dice.randint(100, 9999), dice.randint(10_000, 260_000))), dice),
            "ododigits": lambda: " ".join(self.one(DIGITS) for _ in range(dice.randint(3, 6))),
            "month": lambda: self.one(MONTHS),
            "year": lambda: (
                f"{self.one(('twenty', 'two thousand', 'two thousand and'))} {in_words(dice.randint(1, 26))}"
            ),
        }
        return made[slot]()

    # -- sentences ----------------------------------------------------------------------------------------------
    def sentence(self) -> str:
        """One utterance, capitalised and with its full stop."""
        return self.written(self.one_of(self.frames()))

    def written(self, text: str) -> str:
        """``text`` as the model is to write it: at times with a filler in front, a capital and a full stop."""
        if self.dice.random() < 0.15 and " " in text:
            text = f"{self.one(FILLERS)} {text}"
        text = " ".join(with_marks(text).split()).strip()
        text = text[0].upper() + text[1:]
        return text if text[-1] in ".?" else text + "."

    def one_of(self, frames: list[tuple[int, Callable[[], str]]]) -> str:
        weights = [weight for weight, _ in frames]
        return self.dice.choices([make for _, make in frames], weights)[0]()

    def frames(self) -> list[tuple[int, Callable[[], str]]]:
        """Weighted makers of sentences."""
        return [*self._looks(), *self._work(), *self._water(), *self._job(), *self._short()]

    def _looks(self) -> list[tuple[int, Callable[[], str]]]:
        w, one = self.w, self.one
        return [
            (6, lambda: f"the {self.part()} {self.finding()}"),
            (5, lambda: f"{self.place()}, {one(w.parts)} {self.finding()}, {one(w.parts)} {self.finding()}"),
            (4, lambda: f"{one(w.fault_names)} in the {self.part()} {one(WHERE)}"),
            (3, lambda: f"found a {one(w.fault_names)} in the {one(w.parts)}, {one(w.parts)} {self.finding()}"),
            (3, lambda: f"no {one(w.fault_names)} or {one(w.fault_names)} in the {self.place()} {one(w.parts)}"),
            (3, lambda: f"{one(LEADS)} the {self.part()} {self.finding()}"),
            (
                2,
                lambda: (
                    f"there is a {one(w.fault_names)} about {self.size()} {one(['above', 'below', 'outboard of', 'inboard of', 'forward of', 'back from'])} the {one(w.parts)}"
                ),
            ),
            (
                2,
                lambda: (
                    f"{one(['checked', 'looked at', 'inspected', 'checking'])} the {self.part()} and the {one(w.parts)}, {one(['both good', 'all good', 'no faults', 'both fine'])}"
                ),
            ),
            (2, lambda: f"neither {one(w.parts)} is {one(w.faults)}"),
            (
                2,
                lambda: (
                    f"{one(w.parts)} number {self.number(9)} is {one(w.faults)} and the {one(w.parts)} is {one(w.fine)}"
                ),
            ),
            (
                2,
                lambda: (
                    f"the {one(w.parts)} on the {one(w.sides)} {self.finding()} and on the {one(w.sides)} it {self.finding()}"
                ),
            ),
            (1, lambda: f"couldn't find anything wrong with the {self.part()}"),
            (1, lambda: f"it might be the {self.part()}, not sure yet"),
        ]

    def _work(self) -> list[tuple[int, Callable[[], str]]]:
        w, one, past = self.w, self.one, self.past
        return [
            (4, lambda: f"{past(one(w.undo))} the {self.part()}"),
            (
                3,
                lambda: (
                    f"{past(one(w.undo))} the {one(w.parts)} and found a {one(w.fault_names)} at the {one(w.parts)}"
                ),
            ),
            (4, lambda: f"{past(one(w.mend))} the {self.part()}"),
            (3, lambda: f"{past(one(w.mend))} the {one(w.parts)} with {one(w.materials)}"),
            (2, lambda: f"{past(one(w.mend))} and {past(one(w.mend))} the {self.part()}"),
            (
                2,
                lambda: (
                    f"put {one(w.materials)} on the {one(w.parts)} and torqued {one(['it', 'them'])} to {self.number(60)} {one(w.torques)}"
                ),
            ),
            (
                2,
                lambda: (
                    f"{one(['need to', 'going to', 'still have to', 'next I will'])} {one(w.mend)} the {self.part()}"
                ),
            ),
            (
                1,
                lambda: (
                    f"{one(['next I am going to check', 'going to look at', 'still need to test'])} the {self.place()}"
                ),
            ),
        ]

    def _water(self) -> list[tuple[int, Callable[[], str]]]:
        w, one = self.w, self.one
        shows = ["it leaked", "leak", "water came in", "it leaks", "it started dripping", "leaking"]
        dry = ["dry", "dry inside", "no leak", "stayed dry", "no water inside", "bone dry", "nothing"]
        return [
            (3, lambda: f"{one(w.methods)} on the {self.place()} for {self.time()}, {one(dry)}"),
            (3, lambda: f"ran the {one(['hose', 'water'])} on the {self.place()} and {one(shows)} in {self.time()}"),
            (2, lambda: f"moved the hose to the {self.place()}, {one(shows)} after {self.time()}"),
            (
                2,
                lambda: (
                    f"{one(['retest', 'water test again', 'recheck'])} {self.time()} at the {self.place()}, {one([*dry, 'still leaking'])}"
                ),
            ),
            (2, lambda: f"{one(w.methods)} at the {self.part()}, {one([*dry, *shows])}"),
            (3, lambda: f"the {one(w.parts)} at the {self.place()} is {one(w.signs)}"),
            (3, lambda: f"{one(w.sign_names or w.signs)} on the {self.part()}"),
            (2, lambda: f"{one(w.sign_names or w.signs)} running down from the {self.place()}"),
            (2, lambda: f"{one(['standing water', 'water'])} in the {self.place()}, {self.size()} deep"),
            (
                2,
                lambda: (
                    f"customer says the {one(w.parts)} gets wet {one(['after rain', 'in the car wash', 'when it is parked nose up', 'every time it rains', 'on the highway'])}"
                ),
            ),
            (
                1,
                lambda: (
                    f"{one(['that is the leak', 'found the source', 'that is where it comes in', 'there is our leak'])} at the {self.place()}"
                ),
            ),
        ]

    def _job(self) -> list[tuple[int, Callable[[], str]]]:
        one = self.one
        return [
            (4, lambda: f"{one(['VIN', 'the VIN is', 'VIN number'])} {self.spelled(17)}"),
            (
                3,
                lambda: (
                    f"{one(['VIN', 'last eight', 'the last six are', 'rest of the VIN'])} {self.spelled(self.dice.choice([6, 8, 9]))}"
                ),
            ),
            (4, lambda: self.spelled(self.dice.randint(3, 12))),
            (
                1,
                lambda: (
                    f"{one(['plate', 'license plate', 'registration', 'plate number'])} {self.spelled(self.dice.randint(5, 7))}"
                ),
            ),
            (
                2,
                lambda: (
                    f"{one(['odometer', 'mileage', 'mileage is', 'odometer reads'])} {in_words(self.dice.randint(1000, 240000), self.dice)} {one(['miles', '', 'kilometers', 'kilometres'])}"
                ),
            ),
            (
                2,
                lambda: f"unit {one([self.number(99), f'{one(DIGITS)} {one(DIGITS)} {one(DIGITS)}', self.spelled(3)])}",
            ),
            (1, lambda: f"build date {one(MONTHS)} {one(['twenty', 'two thousand'])} {self.number(26)}"),
            (
                1,
                lambda: (
                    f"{one(['labor', 'labour', 'diagnosis', 'repair'])} {self.number(9)} point {self.number(9)} hours"
                ),
            ),
            (
                1,
                lambda: (
                    f"{one(['air at', 'set to', 'pressure'])} {self.number(60)} {one(['psi', 'kilopascals', 'bar'])}"
                ),
            ),
            (1, lambda: f"{in_words(self.dice.randint(1, 9999), self.dice)}"),
        ]

    def _short(self) -> list[tuple[int, Callable[[], str]]]:
        w, one = self.w, self.one
        single = [
            "dry",
            "leak",
            "leaks",
            "leaking",
            "wet",
            "right",
            "left",
            "okay",
            "good",
            "same",
            "both",
            "yes",
            "no",
            "damp",
            "soaked",
            "water on",
            "water off",
            "it's in",
            "stop",
            "next",
            "done",
        ]
        return [
            (5, lambda: one(w.commands or ["read back"])),
            (4, lambda: one(single)),
            (3, lambda: one([*w.faults, *w.signs, *w.fine])),
            (2, lambda: one([*w.places, *w.parts])),
            (2, lambda: f"correction, {one([*w.sides, *w.places, f'number {self.number(9)}'])}"),
            (1, lambda: f"same on the {one(w.sides)}"),
            (
                1,
                lambda: (
                    f"{one(['scratch that', 'disregard that', 'no wait', 'I mean'])}, {one(['it was the', 'the'])} {one([*w.sides, *w.parts])}"
                ),
            ),
        ]


def in_words(number: int, dice: random.Random | None = None) -> str:
    """A number as it is said; with ``dice`` at times with "and", or "oh" for a zero in the middle."""
    if number < 10:
        return DIGITS[number]
    if number < 20:
        return TEENS[number - 10]
    if number < 100:
        return TENS[number // 10 - 2] + (" " + DIGITS[number % 10] if number % 10 else "")
    if number < 1000:
        rest = number % 100
        if dice and 0 < rest < 10 and dice.random() < 0.3:
            return f"{DIGITS[number // 100]} oh {DIGITS[rest]}"
        joint = " and " if dice and dice.random() < 0.5 else " "
        return DIGITS[number // 100] + " hundred" + (joint + in_words(rest) if rest else "")
    rest = number % 1000
    return in_words(number // 1000, dice) + " thousand" + (" " + in_words(rest, dice) if rest else "")


def irregular_pasts(pack: Any) -> dict[str, str]:
    """Irregular verbs, base form → past: a few of plain English, and the pack's own."""
    return {**PLAIN_PASTS, **{row.base: row.past for row in pack.lists.get("irregular", ())}}


def one_worders(words: Words) -> list[str]:
    """What people say alone: one word or two, every wording of a command, and a third of the pack's single words."""
    answers = (
        "dry", "leaks", "leak", "leaking", "wet", "damp", "soaked", "right", "left", "center", "both", "both sides",
        "right side", "left side", "driver side", "passenger side", "front", "rear", "upper", "lower", "top", "bottom",
        "okay", "good", "bad", "fine", "tight", "loose", "torn", "missing", "cracked", "open", "clear", "clogged", "broken",
        "bent", "gone", "same", "done", "next", "stop", "yes", "no", "none", "nothing", "neither", "maybe", "correct",
        "no leak", "no leaks", "still dry", "still wet", "still leaking", "not yet", "all good", "all dry", "bone dry",
    )  # fmt: skip
    alone = [phrase for phrase in (*words.faults, *words.fine, *words.signs) if " " not in phrase]
    return [*answers * 3, *words.commands, *words.commands[:60], *sorted(set(alone))[::3]]


def make(pack_name: str, count: int, seed: int, short_times: int = 6) -> list[str]:
    """``count`` different sentences, and what is said alone ``short_times`` each, to be said by several voices.

    Two thirds come from the frames, the rest from the wilder grammar above.
    """
    pack = load_pack(pack_name)
    dice = random.Random(seed)
    speaker = Speaker(gather(pack), irregular_pasts(pack), dice)
    frames = Frames(speaker, dice)
    made: dict[str, None] = {}
    while len(made) < count:
        made[speaker.written(frames.sentence()) if dice.random() < 0.66 else speaker.sentence()] = None
    alone = [speaker.written(text) for text in one_worders(speaker.w) for _ in range(short_times)]
    out = [*made, *alone]
    dice.shuffle(out)
    return out


def main() -> None:
    """Print the sentences, one a line."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("pack", nargs="?", default="body-leaks")
    ask.add_argument("--count", type=int, default=8000)
    ask.add_argument("--seed", type=int, default=5)
    ask.add_argument("--short-times", type=int, default=6, help="how often what is said alone is there")
    given = ask.parse_args()
    print("\n".join(make(given.pack, given.count, given.seed, given.short_times)))


if __name__ == "__main__":
    main()
