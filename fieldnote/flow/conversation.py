"""What follows from an utterance: entries told, questions answered, the test clock kept, the mode changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from fieldnote.capture.journal import Mode
from fieldnote.errors import FieldnoteError, NotFound
from fieldnote.extract import STEERING_QUESTION, VIN_QUESTION, Changes
from fieldnote.flow.advising import learned_rates, next_checks
from fieldnote.flow.answering import KEPT, NOT_UNDERSTOOD, Silence, Voice, confirmed, next_aloud, spoken
from fieldnote.flow.commands import action_of
from fieldnote.flow.dictation import Dictation
from fieldnote.flow.recording import Notice
from fieldnote.flow.rooms import Rooms
from fieldnote.flow.test_clock import ClockedTest, TestClock, difference, minutes_and_seconds
from fieldnote.records import Advice, Entry, Origin, Side, Utterance
from fieldnote.store.identity import new_id, now

CLOCK = "test clock"
"""Who makes the changes that come from the clock."""
_READ_BACK = 3
# English dictation is heard with a confidence of 0.7 and more, German, French, Spanish and Polish with 0.3 to 0.45.
_UNSURE = 0.5
_IN_VAIN = 3


@dataclass(slots=True)
class Happened:
    """Whoever watches is told here; every call is one thing that happened."""

    said: Callable[[Utterance, Changes], None] = lambda utterance, changes: None
    answered: Callable[[str], None] = lambda text: None
    caption: Callable[[str], None] = lambda text: None
    mode: Callable[[Mode], None] = lambda mode: None
    advice: Callable[[Advice], None] = lambda advice: None
    clock: Callable[[float | None], None] = lambda seconds: None


class Conversation:
    """The machine's side of the dictation of one job."""

    def __init__(
        self,
        rooms: Rooms,
        dictation: Dictation,
        notice: Notice,
        *,
        voice: Voice | None = None,
        happened: Happened | None = None,
        advises: bool = True,
    ) -> None:
        self._rooms = rooms
        self._dictation = dictation
        self._notice = notice
        self._voice: Voice = voice or Silence()
        self._happened: Happened = happened or Happened()
        self._clock = TestClock()
        self._last_answer = ""
        self._advises = advises
        self._advice_is_old = True
        self._advice: Advice | None = None
        self._call_word = rooms.settings.listen.call_word
        self._clock_shown = -1
        self._in_vain = 0

    # ---- what was said ----------------------------------------------------------------------------------------

    def dictated(self, said: Utterance, at_s: float, *, called: bool) -> Mode | None:
        """An utterance that was kept; gives the way of listening that it asks for, if it does."""
        changes = self._dictation.add(said)
        self._happened.said(said, changes)
        action = action_of(changes.command, called=called, call_word=self._call_word)
        if action is not None:
            return self._act(action, at_s)
        state = self._dictation.state
        self._clock.aim(entry_id=state.open_test, place=state.focus.place, side=state.focus.side)
        self._confirm(changes, unsure=said.confidence is not None and said.confidence < _UNSURE)
        return None

    def typed(self, text: str, person: str | None) -> None:
        """A key said it."""
        changes = self._dictation.type(text, person)
        self._happened.said(Utterance("", text), changes)
        self._confirm(changes)

    @property
    def expected(self) -> tuple[str, ...]:
        """Commands that are awaited now."""
        return ("water-in", "water-off") if self._clock.running else ()

    def marked(self, at_s: float, person: str | None) -> None:
        """A key marked this moment; the word stands among what was said."""
        self._dictation.type(self.wording("mark"), person)
        self._mark(at_s)

    def wording(self, command: str) -> str:
        """How a command is said, as the pack calls it."""
        try:
            return self._rooms.pack.term("command", command).name
        except NotFound:
            return command.replace("-", " ")

    def tick(self, at_s: float) -> None:
        """Time goes on."""
        shown = int(self._clock.seconds(at_s)) if self._clock.running else -1
        if shown != self._clock_shown:
            self._clock_shown = shown
            self._happened.clock(None if shown < 0 else float(shown))
        minutes = self._clock.minute_due(at_s)
        if minutes is not None:
            self.answer(f"{minutes} minute{'s' if minutes != 1 else ''}", again=False)

    def rest(self) -> None:
        """Nobody speaks and nothing waits: time to think of what comes next."""
        if self._advises and self._advice_is_old:
            self._advice_is_old = False
            advice = self._think()
            if advice is not None:
                self._happened.advice(advice)

    def answer(self, text: str, *, again: bool = True) -> None:
        """Tell it on the screen and, where there is a voice, aloud."""
        if again:
            self._last_answer = text
        self._happened.answered(text)
        self._voice.say(text)

    def _confirm(self, changes: Changes, *, unsure: bool = False) -> None:
        new = (*changes.added, *changes.changed)
        if new or changes.withdrawn:
            self._advice_is_old = True
            self._voice.tone(KEPT)
            words = confirmed(new, self._rooms.pack)
            if words:
                self._voice.say(words)
        elif changes.command is None and (changes.leftovers or unsure):
            self._voice.tone(NOT_UNDERSTOOD)
        self._in_vain = self._in_vain + 1 if unsure and not new and changes.command is None else 0
        if self._in_vain == _IN_VAIN:
            self._notice("the last sentences were not understood: speak English, closer to the microphone", True)
        if STEERING_QUESTION in changes.questions:
            self.answer("On which side does the driver sit? Left was taken for now.")
        for fact in new:
            if VIN_QUESTION in changes.questions and fact.odd:
                meant = f" Was it {' '.join(fact.proposed)}? That was not taken." if fact.proposed else ""
                self.answer(f"The VIN cannot be right.{meant} Say it again, or compare it with the plate.")

    # ---- commands ---------------------------------------------------------------------------------------------

    def _act(self, action: str, at_s: float) -> Mode | None:
        modes: dict[str, Mode] = {"stand-by": "standing-by", "off-the-record": "off-the-record"}
        if action in modes:
            self._happened.mode(modes[action])
            return modes[action]
        acts: dict[str, Callable[[], None]] = {
            "read-back": self._read_back,
            "say-again": lambda: self.answer(self._last_answer or "Nothing was told yet."),
            "what-next": self._what_next,
            "water-on": lambda: self._water_on(at_s),
            "water-in": lambda: self._water_in(at_s),
            "water-off": lambda: self._water_off(at_s),
            "mark": lambda: self._mark(at_s),
        }
        if action in acts:
            acts[action]()
        return None

    def _read_back(self) -> None:
        last = self._dictation.in_force()[-_READ_BACK:]
        said = [spoken(entry, self._rooms.pack) for entry in last]
        self.answer(". ".join(said) + "." if said else "Nothing is written down yet.")

    def _what_next(self) -> None:
        advice = self._think()
        self.answer(next_aloud(advice, self._rooms.pack) if advice else "There is no leak map for this vocabulary.")

    def _think(self) -> Advice | None:
        self._dictation.write(patient=False)
        store, job = self._rooms.store, self._dictation.job
        try:
            leak_map = self._rooms.leak_map
            rates = learned_rates(store, leak_map, job.pack, store.job(job.id))
            return next_checks(store, job.id, leak_map, cautions=self._rooms.cautions, rates=rates)
        except FieldnoteError as error:
            if self._advises:
                self._notice(f"no next checks: {error}", True)
            self._advises = False
            return None

    def _mark(self, at_s: float) -> None:
        if self._clock.running:
            self._water_in(at_s)
        else:
            self.answer("Marked.", again=False)

    # ---- the test clock ---------------------------------------------------------------------------------------

    def _water_on(self, at_s: float) -> None:
        state = self._dictation.state
        new = self._clock.on(at_s, entry_id=state.open_test, place=state.focus.place, side=state.focus.side)
        if not new:
            self.answer("The water was on already; the clock goes on.", again=False)
            return
        where = self._named(state.focus.place, state.focus.side)
        self.answer(f"Clock started, {where}." if where else "Clock started. Say the place.", again=False)
        for caution in self._rooms.cautions.of({state.focus.place or ""} - {""}, set(), {"test", "water-on"}):
            self._notice(f"caution: {caution}", False)

    def _water_in(self, at_s: float) -> None:
        after_s = self._clock.leaked(at_s)
        if after_s is None:
            self.answer("The test clock is not running.", again=False)
        else:
            self.answer(f"In after {minutes_and_seconds(after_s)}.", again=False)

    def _water_off(self, at_s: float) -> None:
        test = self._clock.off(at_s)
        if test is None:
            self.answer("The test clock is not running.", again=False)
            return
        self._happened.clock(None)
        told = [f"Water off after {minutes_and_seconds(test.ran_s)}"]
        if test.leaked_after_s is not None:
            told.append(f"in after {minutes_and_seconds(test.leaked_after_s)}")
        self._advice_is_old = True
        entry = next((e for e in self._dictation.in_force() if e.id == test.entry_id), None)
        if entry is None:
            where = self._add_test(test)
            told.append(where or "no place was said: correct the entry")
        else:
            self._clock_entry(entry, test)
            for what, spoken_s, clocked_s in difference(entry, test):
                name = what.replace("-", " ")
                told.append(f"{name}: said {minutes_and_seconds(spoken_s)}, clock {minutes_and_seconds(clocked_s)}")
        self.answer("; ".join(told) + ".")

    def _clock_entry(self, entry: Entry, test: ClockedTest) -> None:
        store, job_id = self._rooms.store, self._dictation.job.id
        for name, value in (("clocked_s", test.ran_s), ("clocked_leak_s", test.leaked_after_s)):
            if value is not None and getattr(entry, name) != round(value, 1):
                store.correct(job_id, entry.id, name, round(value, 1), CLOCK)
        leaks = self._dictation.leak_state(leaked=True)
        if test.leaked_after_s is not None and entry.state is None and leaks:
            store.correct(job_id, entry.id, "state", leaks, CLOCK)

    def _add_test(self, test: ClockedTest) -> str:
        """A test that nobody spoke of but for the clock. Without a leak seen its result stays open: nobody said it."""
        side: Side | None = test.side if test.side in ("left", "right", "both", "center") else None  # type: ignore[assignment]
        leaked_s = None if test.leaked_after_s is None else round(test.leaked_after_s, 1)
        entry = Entry(
            "test",
            place=test.place,
            side=side,
            state=self._dictation.leak_state(leaked=True) if leaked_s is not None else None,
            quote="",
            id=new_id("e"),
            origins=(Origin("clock", at=now()),),
            clocked_s=test.ran_s,
            clocked_leak_s=leaked_s,
        )
        self._rooms.store.add_entry(self._dictation.job.id, entry, CLOCK)
        return self._named(test.place, test.side)

    def _named(self, place: str | None, side: str | None) -> str:
        if place is None:
            return ""
        told = "both sides" if side == "both" else side
        return " ".join(filter(None, (told, self._rooms.pack.term("place", place).name)))
