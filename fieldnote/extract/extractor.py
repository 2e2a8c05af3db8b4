"""The public way in: utterances to entries, one step at a time; a whole job is the fold of the steps."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from fieldnote.extract.clauses import ClauseReader
from fieldnote.extract.compose import Composer
from fieldnote.extract.constituent import Constituent
from fieldnote.extract.constituents import Grouper
from fieldnote.extract.corrections import Corrector
from fieldnote.extract.draft import Draft
from fieldnote.extract.fact_values import FactFound
from fieldnote.extract.facts import FactFinder
from fieldnote.extract.items import Item, ItemMaker, Line
from fieldnote.extract.lexicon import compile_lexicon
from fieldnote.extract.mending import mend
from fieldnote.extract.naming import utterances_of
from fieldnote.extract.noun_phrases import Thing
from fieldnote.extract.origins import entry_id, heard, origin
from fieldnote.extract.rephrasing import Rephraser
from fieldnote.extract.state import RECENT, UNDO, Changes, Extraction, Focus, State
from fieldnote.extract.tokens import fold, tokenize
from fieldnote.records import Entry, Intake, Leftover, Utterance
from fieldnote.vocabulary.pack import Command, Pack

VERSION = "2"
"""Changes whenever the same text may give other entries: kept entries of an older version are made again."""

_LEFT, _RIGHT = "left", "right"
STEERING_QUESTION = "steering"
VIN_QUESTION = "vin"
"""A VIN fails its check digit: its entry says what is odd, and what may have been meant."""


_ROUND_A_MEASURE = frozenset(
    {"skip", "determiner", "along", "hedge", "mend", "unknown", "link", "pronoun", "lasting", "preposition", "took"}
    | {"of", "negator", "subject"}
)
"""Kinds of words that may stand around a measure alone."""


class Extractor:
    """Understands dictation with one pack. Pure: the same text and state give the same result."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self._lex = compile_lexicon(pack)
        self._items = ItemMaker(self._lex)
        self._composer = Composer(self._lex)
        self._rephraser = Rephraser(self._lex)
        self._corrector = Corrector(self._lex, self._composer)
        self._facts = FactFinder(self._lex)
        self._groupers = {
            side: Grouper(self._lex, {"driver": side, "passenger": _RIGHT if side == _LEFT else _LEFT})
            for side in (_LEFT, _RIGHT)
        }
        self._whole_questions = [fold(q) for q in pack.words["question_whole"]]
        self._questions: dict[str, list[tuple[str, ...]]] = {}
        for question in pack.words["question"]:
            words = fold(question)
            self._questions.setdefault(words[0], []).append(words)
        self._commands: dict[tuple[str, ...], Command] = {
            fold(phrase): command for command in pack.rows(Command) for phrase in command.say
        }
        self._longest_command = max(map(len, self._commands), default=0)

    # -- the way in ---------------------------------------------------------------------------------------------

    def start(self, intake: Intake | None = None) -> State:
        """The state of a job in which nothing was said yet; the steering side comes from the intake."""
        return State(steering=intake.steering if intake else None, in_job=intake is not None)

    def run(self, utterances: Iterable[Utterance | str], intake: Intake | None = None) -> Extraction:
        """All entries of a job, in the order said: the fold of ``step``."""
        state = self.start(intake)
        entries: dict[str, Entry] = {}
        leftovers: list[Leftover] = []
        for utterance in utterances_of(utterances):
            state, changes = self.step(state, utterance)
            for id in changes.withdrawn:
                entries.pop(id, None)
            for entry in (*changes.changed, *changes.added):
                entries[entry.id] = entry
            leftovers.extend(changes.leftovers)
        questions = (STEERING_QUESTION,) if state.asks_steering else ()
        return Extraction(tuple(entries.values()), tuple(leftovers), questions)

    def step(self, state: State, utterance: Utterance) -> tuple[State, Changes]:
        """What one more utterance adds, changes and withdraws."""
        line = self._items.line(tokenize(utterance.text))
        draft = Draft.of(state, utterance, line)
        items = self._opened(line.items)
        command = self._command(items)
        if not items:
            return state, Changes()
        if command is not None and not self._is_statement(draft, items):
            return self._obey(state, draft, command)
        return self._read(state, draft, line, items)

    # -- commands -----------------------------------------------------------------------------------------------

    def _opened(self, items: Sequence[Item]) -> list[Item]:
        """Without what says nothing at the beginning ("okay so")."""
        k = 0
        while k < len(items) and _idle(items[k]) and not (k + 1 >= len(items) and "state" in items[k].tags):
            if items[k].is_a("opener") and not items[k].is_a("filler") and self._opener_counts(items, k):
                break
            if "state" in items[k].tags and not items[k].is_a("opener") and items[k + 1].is_a("negator"):
                break  # "good, no rips"
            k += 1
        return list(items[k:])

    def _opener_counts(self, items: Sequence[Item], k: int) -> bool:
        """ "Right" before a door, "good" and "no" before a finding are no openers."""
        item = items[k]
        if "state" in item.tags or "side" in item.tags or item.is_a("negator", "mend"):
            following = items[k + 1] if k + 1 < len(items) else None
            if following is None:
                return True
            if "side" in item.tags:
                return bool(following.tags - {"word"}) or following.is_a("of") or following.number is not None
            if item.text in ("ok", "okay", "alright", "all right"):
                return following.is_a("negator")
            return True
        return False

    def _command(self, items: Sequence[Item]) -> Command | None:
        if sum(not _plain_filler(i) for i in items) > self._longest_command:
            return None
        words = tuple(w for i in items if not _plain_filler(i) for w in i.text.split(" "))
        return self._commands.get(words) or self._commands.get(tuple(w for i in items for w in i.text.split(" ")))

    def _is_statement(self, draft: Draft, items: Sequence[Item]) -> bool:
        """ "That's it" right after a fault states the cause; elsewhere it ends the job."""
        return any(i.is_a("maybe_source") for i in items) and self._composer.fault_just_said(draft)

    def _obey(self, state: State, draft: Draft, command: Command) -> tuple[State, Changes]:
        if command.effect == "take-back":
            if draft.last_said:
                self._corrector.take_back(draft, draft.last_said)
            after = self._freeze(state, draft, said=None)
            said = state.said[1:]
            return replace(after, said=said), self._changes(draft, command=command.id)
        if command.effect == "drop":
            return replace(state, focus=Focus()), Changes(command=command.id)
        if command.effect == "repeat":
            entry = self._corrector.repeat(draft, Thing(other_side=True), 0, len(draft.line.words))
            if entry is not None:
                return self._freeze(state, draft, said=(entry.id,)), self._changes(draft, command=command.id)
        return state, Changes(command=command.id)

    # -- reading ------------------------------------------------------------------------------------------------

    def _read(self, state: State, draft: Draft, line: Line, items: list[Item]) -> tuple[State, Changes]:
        said = self._said_by_others(draft, line, items)
        if said is not None:
            return self._freeze(state, draft, said=tuple(e.id for e in draft.added)), self._changes(draft)
        items, dropped = self._without_conditions(items)
        vin = self._facts.vin(line, state.vin)
        facts = self._facts.find(line, vin=vin)
        begun = vin.reading if vin is not None and vin.reading.status == "incomplete" else None
        state = replace(state, vin=begun) if begun is not state.vin else state
        if vin is not None and begun is not None:
            items = [i for i in items if not vin.start <= i.start < vin.end]
        for fact in facts:
            self._put_fact(draft, fact)
        if facts:
            items = [i for i in items if not any(f.start < i.end and i.start < f.end for f in facts)]
        grouper = self._groupers[state.steering or _LEFT]
        asks = (
            state.in_job
            and state.steering is None
            and any(s.tag == "side" and s.value in ("driver", "passenger") for i in items for s in i.senses)
        )
        row = self._rephraser.plain(mend(grouper.group(items)))
        draft.stay = any(c.is_a("stay") for c in row)
        command = None
        corrected = self._correction(draft, row)
        if corrected:
            command = corrected
        elif self._repetition(draft, row):
            command = next((c.id for c in self.pack.rows(Command) if c.effect == "repeat"), None)
        elif self._measure_alone(draft, row):
            command = None
        else:
            reader = ClauseReader(self._lex, row, open_test=draft.open_test is not None)
            frames = reader.read()
            if reader.took_back_before:
                self._corrector.take_back(draft, draft.last_said)
                command = next((c.id for c in self.pack.rows(Command) if c.effect == "take-back"), None)
            self._composer.compose(draft, frames)
            for thing in reader.mask:
                place = self._composer.where(draft, thing, draft.focus)[0]
                if place:
                    draft.masked = tuple(dict.fromkeys((*draft.masked, place)))
        leftovers = self._leftovers(draft, line, facts, dropped)
        after = self._freeze(state, draft, said=tuple(e.id for e in draft.added))
        if corrected:
            after = replace(after, said=state.said)
        elif not draft.added:
            after = replace(after, said=((), *state.said[: UNDO - 1]))
        questions: tuple[str, ...] = ()
        if vin is not None and vin.reading.status == "wrong":
            questions = (VIN_QUESTION,)
        if asks and not state.asks_steering:
            after = replace(after, asks_steering=True)
            questions = (*questions, STEERING_QUESTION)
        return after, self._changes(draft, leftovers=leftovers, command=command, questions=questions)

    def _said_by_others(self, draft: Draft, line: Line, items: list[Item]) -> str | None:
        """A complaint in the customer's words, a question or an aside: no entry but the complaint."""
        complaint = self._facts.complaint(line)
        if complaint is not None:
            words, tokens = line.words, line.tokens
            start, end = tokens[words[complaint[1]].first].start, tokens[-1].end
            for fact in self._facts.find(line, until=complaint[0]):
                self._put_fact(draft, fact)
            value = draft.utterance.text[start:end]
            entry = Entry("fact", what=self._complaint_id(), value=value, quote=value)
            self._put(draft, entry, ((start, end, "head"),))
            return "complaint"
        if self._asks(line, items):
            answer = next((n for n, i in enumerate(items) if n and i.is_a("answer")), None)
            whole = self._question_end(line, items)
            if whole:
                del items[:whole]  # "what did you find? the gasket is torn"
                while items and (items[0].is_a("answer") or items[0].text.startswith("no")):
                    del items[0]  # "is it tight? no, it's loose"
            elif answer is None or answer + 1 >= len(items):
                self._put_facts(draft, line)
                return "question"
            else:
                del items[: answer + 1]
        if any(i.is_a("remark") for i in items) and not self._has_finding(items):
            self._put_facts(draft, line)
            return "remark"
        return None

    def _complaint_id(self) -> str:
        return next((f.id for f in self._lex.facts.values() if f.value == "text" and f.id == "complaint"), "complaint")

    def _asks(self, line: Line, items: Sequence[Item]) -> bool:
        """Whether the utterance begins as a question does."""
        start = items[0].start if items else 0
        if start >= len(line.texts) or (items and items[0].is_a("source_at")):
            return False  # "what's letting it in is the gasket"
        return any(line.texts[start : start + len(q)] == q for q in self._questions.get(line.texts[start], ()))

    def _question_end(self, line: Line, items: Sequence[Item]) -> int:
        """How many items a question that is complete in itself takes, where an answer follows; 0 where none is."""
        start = items[0].start
        whole = [q for q in self._whole_questions if line.texts[start : start + len(q)] == q]
        end = start + max(map(len, whole), default=0)
        taken = sum(1 for i in items if i.start < end)
        return taken if whole and taken < len(items) else 0

    def _has_finding(self, items: Sequence[Item]) -> bool:
        """Whether an utterance with an aside in it says something of the trade as well."""
        tags = [i.tags for i in items if not i.is_a("remark")]
        things = {n for n, t in enumerate(tags) if t & {"part", "place", "part_word"}}
        says = {n for n, t in enumerate(tags) if t & {"state", "act", "method"}}
        return bool(things and says - things)

    def _without_conditions(self, items: list[Item]) -> tuple[list[Item], list[Item]]:
        """Up to the first condition: what hangs on an "if" is neither found nor done."""
        for n, item in enumerate(items):
            if item.classes and item.is_a("conditional", "question_inside") and not item.tags - {"word"}:
                told = item.text == "unless" and any(i.finding is not None and i.finding.get("test") for i in items[:n])
                return ([], items) if told else (items[:n], items[n:])  # "it doesn't leak unless …"
        return items, []

    # -- corrections and repeats --------------------------------------------------------------------------------

    def _correction(self, draft: Draft, row: Sequence[Constituent]) -> str | None:
        """ "Correction, number three": a change of what was said before; the command's id, or None."""
        plain = [c for c in row if c.kind not in ("skip", "determiner", "subject", "unknown")]
        if not plain or plain[0].kind not in ("mend", "take_back"):
            return None
        if plain[0].kind == "take_back" and any(
            c.kind not in ("take_back", "thing", "quantity", "link", "pronoun", "mend", "preposition") for c in plain
        ):
            return None
        rest = [c for c in plain[1:] if c.kind not in ("mend", "link", "preposition", "pronoun", "to_place", "item")]
        explicit = not plain[0].is_a("negator") or len(plain[0].item.text.split()) > 1
        if not rest or any(
            c.kind
            in (
                "act",
                "handle",
                "method_verb",
                "retest",
                "plan",
                "look",
                "is_source",
                "find",
                "there_is",
                "other_side",
                "same",
            )
            for c in rest
        ):
            return None
        if not explicit and any(
            c.kind != "thing" or (c.thing is not None and not c.thing.bare and c.thing.side is None) for c in rest
        ):
            return None
        if any(c.kind == "negator" for c in rest):
            return None
        if self._corrector.correct(draft, rest, self._corrector.meant(draft, rest)):
            return next((c.id for c in self.pack.rows(Command) if c.effect == "correct"), "correct")
        return None

    def _measure_alone(self, draft: Draft, row: Sequence[Constituent]) -> bool:
        """ "About three inches long", "ran it for ten minutes": a measure alone belongs to what was said last."""
        plain = [c for c in row if c.kind not in _ROUND_A_MEASURE and not (c.kind == "handle" and c.is_a("lasting"))]
        if len(plain) != 1 or plain[0].kind != "quantity":
            return False
        at = next(n for n, c in enumerate(row) if c is plain[0])
        return self._corrector.measure(draft, plain[0], lasting=any(c.is_a("lasting") for c in row[:at]))

    def _repetition(self, draft: Draft, row: Sequence[Constituent]) -> bool:
        """ "Same on the right", "other side the same", "ditto on the left"."""
        plain = [
            c
            for c in row
            if c.kind
            not in (
                "skip",
                "determiner",
                "link",
                "preposition",
                "to_place",
                "pronoun",
                "and",
                "unknown",
                "of",
                "subject",
                "with",
                "off",
            )
        ]
        says_same = [c for c in plain if c.kind in ("same",) or c.is_a("same") or self._repeat_word(c)]
        things = [c for c in plain if c.kind == "thing" or c.kind == "other_side"]
        measures = [c for c in plain if c.kind == "quantity"]
        small = ("but", "took", "lasting", "hedge")
        rest = [c for c in plain if c not in (*says_same, *things, *measures) and c.kind not in small]
        if not says_same or rest or len(things) > 2:
            return False
        thing = Thing()
        for c in things:
            if c.kind == "other_side":
                thing = replace(thing, other_side=True)
            elif c.thing is not None:
                thing = replace(c.thing, other_side=thing.other_side or c.thing.other_side)
        if not things:
            thing = Thing(other_side=True)
        again = self._corrector.repeat(draft, thing, row[0].start, max(c.end for c in row))
        if again is not None and measures:
            self._corrector.correct(draft, measures, (again.id,))  # "same on the right, but it took two minutes"
        return again is not None

    def _repeat_word(self, c: Constituent) -> bool:
        sense = c.item.sense("command")
        return sense is not None and self.pack.term("command", sense.value).effect == "repeat"  # type: ignore[attr-defined]

    # -- the end of a step --------------------------------------------------------------------------------------

    def _put_facts(self, draft: Draft, line: Line) -> None:
        for fact in self._facts.find(line):
            self._put_fact(draft, fact)

    def _put_fact(self, draft: Draft, fact: FactFound) -> None:
        words, tokens = draft.line.words, draft.line.tokens
        start = tokens[words[fact.start].first].start
        end = tokens[words[fact.end - 1].last - 1].end
        value = fact.value
        if isinstance(value, tuple):
            value = draft.utterance.text[value[0] : value[1]]
        entry = Entry("fact", what=fact.what, value=value, unit=fact.unit, quote=draft.utterance.text[start:end])
        entry = replace(entry, odd=fact.odd, proposed=fact.proposed)
        told = [e for e in draft.recent if e.kind == "fact" and e.what == fact.what]
        if any((e.value, e.unit) == (value, fact.unit) for e in told):
            return  # said again
        if told and told[-1].odd and not fact.odd:
            # It could not be right as it was heard, and was said again.
            spoken = origin(draft.utterance, start, end, "correction")
            draft.change(
                replace(
                    told[-1], value=value, odd=None, proposed=None, confidence=fact.sure,
                    origins=(*told[-1].origins, spoken),
                )
            )  # fmt: skip
            return
        self._put(draft, entry, ((start, end, "head"),), sure=fact.sure)

    def _put(self, draft: Draft, entry: Entry, spans: tuple[tuple[int, int, str], ...], *, sure: float = 1.0) -> None:
        origins = tuple(origin(draft.utterance, s, e, role) for s, e, role in spans)
        entry = replace(entry, origins=origins, id=entry_id(draft, entry, origins), confidence=sure)
        draft.put(heard(entry, draft))

    def _leftovers(
        self, draft: Draft, line: Line, facts: Sequence[FactFound], dropped: Sequence[Item]
    ) -> tuple[Leftover, ...]:
        """Runs of words that nothing took."""
        text, tokens, words = draft.utterance.text, line.tokens, line.words
        loose = [
            i for i in line.items
            if not i.senses and i.quantity is None and i.number is None
            and not any(f.start <= i.start < f.end for f in facts)
        ]  # fmt: skip
        runs: list[tuple[int, int]] = []
        for item in loose:
            first, last = words[item.start].first, words[item.end - 1].last
            if runs and first <= runs[-1][1]:
                runs[-1] = (runs[-1][0], max(last, runs[-1][1]))
            else:
                runs.append((first, last))
        return tuple(
            Leftover(draft.utterance.id, tokens[a].start, tokens[b - 1].end, text[tokens[a].start : tokens[b - 1].end])
            for a, b in runs
        )

    def _freeze(self, state: State, draft: Draft, *, said: tuple[str, ...] | None) -> State:
        history = state.said if said is None else (said, *state.said[: UNDO - 1])
        return replace(
            state, focus=draft.focus, work=draft.work, places=tuple(draft.places), recent=tuple(draft.recent[-RECENT:]),
            said=history, repaired=frozenset(draft.repaired), open_test=draft.open_test, masked=draft.masked,
        )  # fmt: skip

    def _changes(
        self,
        draft: Draft,
        *,
        leftovers: tuple[Leftover, ...] = (),
        command: str | None = None,
        questions: tuple[str, ...] = (),
    ) -> Changes:
        return Changes(
            tuple(draft.added), tuple(draft.changed.values()), tuple(draft.withdrawn), leftovers, command, questions
        )


def _idle(item: Item) -> bool:
    return item.is_a("filler", "opener") and not item.is_a("anew") and item.quantity is None and item.number is None


def _plain_filler(item: Item) -> bool:
    return item.is_a("filler") and not item.tags - {"word"}
