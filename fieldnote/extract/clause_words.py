"""Small words in a clause: what joins, denies, doubts, plans; measures; causes; changes of mind."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.clause_base import ClauseBase
from fieldnote.extract.constituent import Constituent
from fieldnote.extract.frames import Frame
from fieldnote.extract.lexicon import Finding
from fieldnote.extract.noun_phrases import changed


class WordReader(ClauseBase):
    """Small words in a clause: what joins, denies, doubts, plans; measures; causes; changes of mind."""

    def _on_look(self, i: int, c: Constituent) -> None:
        if self._negated:
            self._close()
            self._mode = "void"
            return
        subjects = self._subjects if self._mode == "" else []
        if subjects and self._plan and c.sense is not None and c.sense.form in ("past", "participle", "ing"):
            self._subjects = []  # "the left side wants looking at"
            self._close()
            frame = Frame("look", c.start, c.end, subjects[0], list(subjects[1:]), plan=True)
            frame.mark(c.start, c.end, "head")
            self._mode = "look"
            self._add(frame)
            return
        if subjects and c.sense is not None and c.sense.form in ("past", "participle"):
            return  # "the trough checked out": says nothing by itself
        plan = self._plan
        self._close()
        self._plan = plan and not (c.sense is not None and c.sense.form in ("past", "participle"))
        frame = Frame("look", c.start, c.end)
        frame.mark(c.start, c.end, "head")
        self._mode = "look"
        self._add(frame)

    def _on_find(self, i: int, c: Constituent) -> None:
        negated, unsure = self._negated, self._unsure
        outer, pending = self._outer, (self._subjects if self._mode == "" else [])
        if c.is_a("find") and self._number_ends(i + 1):
            return
        if (
            self._linked
            and c.sense is not None
            and c.sense.form in ("past", "participle")
            and self._mode in ("state", "test")
        ):
            self._linked = False  # "damp carpet was observed in the footwell"
            return
        self._fresh(negated, unsure)
        self._outer = outer or (pending[-1] if pending else None)

    def _on_there_is(self, i: int, c: Constituent) -> None:
        says = c.is_a("link") or self._says_there(i)
        if says and (self._subjects or self._subject_pronoun) and self._mode == "":
            self._linked = True
            return
        outer = self._outer or (self._subjects[-1] if self._subjects and self._mode == "" else None)
        self._fresh(False, self._unsure and not self._clause)
        self._outer = outer

    def _on_link(self, i: int, c: Constituent) -> None:
        self._linked = True
        said = self._last
        if self._negated and self._mode == "state" and self._joined != "or" and said and self._negated_at < said.end:
            self._negated = said.present  # "is not good, is torn"
        self._prep = ""

    def _on_negator(self, i: int, c: Constituent) -> None:
        if (self._mode == "act" and self._last is not None) or self._mode in ("source", "look"):
            self._close()
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if c.item.text == "no" and nxt is not None and nxt.kind in ("determiner", "subject"):
            return  # "no the windscreen is leaking"
        if c.is_a("mend") and nxt is not None and nxt.kind in ("act", "method_verb", "handle") and self.frames:
            self._on_mend(i, c)
            return
        if c.item.text == "without" and self._stripped(i):
            self._row[i + 1 : i + 1 + self._stripped(i)] = []
            return
        said = self._last
        if (
            self._mode == "state"
            and self._linked
            and said is not None
            and said.end >= c.start - 1
            and self._is_plain(said)
        ):
            said.present = False  # "the water is not coming from the windshield"
            return
        if self._verb_unknown(i, c):
            self._close()
            self._mode = "void"
            return
        self._negated, self._negated_at = True, c.start
        self._prep = ""

    def _stripped(self, i: int) -> int:
        """ "Without the trim on": how many words tell what was off while something was seen."""
        j = i + 1
        while j < len(self._row) and self._row[j].kind in ("determiner", "skip", "thing"):
            j += 1
        ends = j < len(self._row) and self._row[j].item.text in ("on", "in") and j > i + 1
        follows = self._row[j + 1] if ends and j + 1 < len(self._row) else None
        return j - i if follows is not None and follows.kind in ("there_is", "pronoun", "subject", "find") else 0

    def _is_plain(self, said: Frame) -> bool:
        plain = next((s.id for s in self._lex.states.values() if s.wet), "")
        return said.finding is not None and said.finding.get("evidence") == plain and said.head_form == "noun"

    def _verb_unknown(self, i: int, c: Constituent) -> bool:
        """ "Won't keep", "didn't bother with": what is denied is a verb that says nothing of the trade."""
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if not c.item.text.endswith("nt") or nxt is None or nxt.start != c.end:
            return False
        if nxt.kind == "unknown":
            return True
        finding = nxt.item.finding
        ours = not self._subjects and not self._subject_pronoun and not self._linked
        return bool(
            ours and nxt.kind == "state" and finding and not finding.get("test") and not finding.get("evidence")
        )

    def _on_only(self, i: int, c: Constituent) -> None:
        if self._mode == "state":
            self._negated = False

    def _on_amiss(self, i: int, c: Constituent) -> None:
        """ "Could not find anything wrong with the door": all is well."""
        sound = next((s.id for s in self._lex.states.values() if s.sound), None)
        if not self._negated or sound is None:
            return
        self._negated = False
        self._push_state(c, Finding((("check", sound),)), "adj")

    def _on_neither(self, i: int, c: Constituent) -> None:
        if self._mode != "" or not self._subjects:
            self._close()
        self._negated = True
        listed = any(r.is_a("or") for r in self._row[i + 1 : i + 6])
        self._both = not listed

    def _on_hedge(self, i: int, c: Constituent) -> None:
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if nxt is not None and nxt.kind in ("quantity", "number"):
            return
        if (
            nxt is not None
            and nxt.kind in ("act", "plan")
            and (nxt.kind == "plan" or (nxt.sense and nxt.sense.form == "base"))
        ):
            self._close()
            self._plan = self._unsure = True
            return
        if nxt is None and self._clause:
            for frame in self._clause:
                frame.unsure = True
            return
        if self._clause and self._mode in ("act", "state", "test", "source") and not self._subjects:
            if self._mode == "test" and not (self._last is not None and self._last.result):
                return
            self._close()
        elif self._clause and self._mode == "state" and self._predicate_ahead(i):
            self._close()
        self._unsure = True

    def _on_plan(self, i: int, c: Constituent) -> None:
        subjects = self._subjects if self._mode == "" else []
        if not subjects:
            unsure = self._unsure and not self._clause
            self._close()
            self._unsure = unsure
        self._plan = True

    def _on_plan_noun(self, i: int, c: Constituent) -> None:
        self._on_plan(i, c)
        self._new = True

    def _on_later(self, i: int, c: Constituent) -> None:
        for frame in self.frames:
            if frame.kind in ("test", "act", "topic", "look") and not frame.result and not frame.told:
                frame.plan = True

    def _on_and(self, i: int, c: Constituent) -> None:
        self._joined = "and"
        if self._negated and self._mode == "state" and not self._noun_ahead(i + 1):
            self._negated = False
        if self._mode == "test":
            self._joined = "and"

    def _on_or(self, i: int, c: Constituent) -> None:
        self._joined = "or"
        if c.item.text == "nor":
            self._negated = True

    def _trails(self, i: int) -> bool:
        """ "It leaks though, in ten seconds": what was said goes on."""
        nxt, then = (self._row[k] if k < len(self._row) else None for k in (i + 1, i + 2))
        measured = then is not None and then.item.quantity is not None
        return nxt is None or (nxt.kind in ("preposition", "took", "lasting") and measured)

    def _on_but(self, i: int, c: Constituent) -> None:
        if self._clause and self._trails(i):
            return
        if self._clause or self._subjects:
            keep = list(self._subjects) if self._mode == "state" and not self._thing_ahead(i + 1) else []
            whereabouts = (
                self._subjects[-1] if not self._clause and self._subjects and self._subjects[-1].bare else None
            )
            self._close()
            self._subjects = keep
            self._outer = whereabouts  # "top center though, the bead is thin"
        self._negated = False
        self._plan = False

    def _on_then(self, i: int, c: Constituent) -> None:
        last = self._last
        if self._mode == "source" and last is not None and last.thing is None and last.finding is None:
            return  # "that's your way in, then, the adhesive …"
        plan = self._plan
        self._close()
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        base = nxt is not None and nxt.sense is not None and nxt.sense.form == "base"
        planned = c.is_a("next_up") and (base or self._test_ahead(i + 1))
        self._plan = plan or planned

    def _on_pronoun(self, i: int, c: Constituent) -> None:
        if self._handle is not None and self._handle.is_a("apply") and (self._again or self._again_next(i + 1)):
            # "Run it again": the test once more.
            handle, self._handle = self._handle, None
            frame = self._test_frame(handle, None)
            frame.pronoun = frame.again = True
            return
        if self._mode == "act" and self._last is not None and self._last.thing is None:
            for frame in self._clause:
                if frame.kind == "act" and frame.thing is None:
                    frame.pronoun = True
            self._last.end = max(self._last.end, c.end)
            return
        if (
            self._mode in ("test", "look")
            and self._last is not None
            and self._last.thing is None
            and not self._last.result
        ):
            self._last.pronoun = True
            return
        if self._mode == "test" and not self._prep:
            self._came = True  # "… and it came down the pillar": water
        if self._prep == "away":
            self._prep = ""
            return
        if self._prep:
            self._prep = ""
            if self._last is not None and self._last.thing is None and self._mode in ("state",):
                hidden = self._prep_item is not None and self._prep_item.is_a("hidden")
                self._last.pronoun = not hidden or not self._is_sign(self._last)
            return
        told = self._last is not None and self._last.thing is not None and self._last.thing.end == c.start
        if (
            self._mode == "source"
            and told
            and c.is_a("which")
            and self._last is not None
            and self._last.finding is None
        ):
            return  # "the leak is from the grommet that is not seated"
        if self._mode in ("act", "state", "test", "look", "source"):
            if not self._predicate_after_pronoun(i):
                return
            if self._mode == "state" and self._clause and self._clause[-1].thing is not None:
                thing, more = self._clause[-1].thing, self._clause[-1].more
                self._close()
                self._subjects = [thing, *more]
                return
            test = self._mode == "test"
            thing2 = self._last.thing if self._last is not None and self._mode in ("act", "look") else None
            more = list(self._last.more) if self._last is not None and c.item.text in ("they", "them") else []
            if test:
                return
            self._close()
            if [r.kind for r in self._row[i + 1 : i + 3]] == ["link", "state"]:
                self._plan = False  # "need to dry the carpet, it is soaked"
            if thing2 is not None:
                self._subjects = [thing2, *more]
            self._subject_pronoun = True
        elif not self._subjects:
            self._subject_pronoun = True

    def _is_sign(self, frame: Frame) -> bool:
        return frame.finding is not None and bool(frame.finding.get("evidence"))

    def _predicate_after_pronoun(self, i: int) -> bool:
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        return nxt is not None and nxt.kind in ("link", "state", "hedge", "negator", "act")

    def _on_others(self, i: int, c: Constituent) -> None:
        """ "Somebody": what others did is nothing that was done here; what they left is still found."""
        before = next((r for r in self._row if r.end == c.start), None)
        last = self._last
        if before is not None and before.item.text == "by" and last is not None and last.kind in ("act", "state"):
            # "Stuck down by somebody": their work.
            self.frames.remove(last)
            thing = last.thing
            self._close()
            if thing is not None:
                self.frames.append(Frame("topic", thing.start, thing.end, thing, spans=list(thing.spans)))
            return
        self._close()
        self._by_others = True

    def _on_earlier(self, i: int, c: Constituent) -> None:
        """ "Replaced last year": work of before this job."""
        last = self._last
        if last is None or last.kind != "act":
            self._by_others = self._by_others or (last is None and not self._subjects)
            return
        self.frames.remove(last)
        thing = last.thing
        self._close()
        if thing is not None:
            self.frames.append(Frame("topic", thing.start, thing.end, thing, spans=list(thing.spans)))

    def _on_both_of(self, i: int, c: Constituent) -> None:
        target = self._last
        waiting = [f for f in self.frames if f.kind == "test" and not f.result]
        if len(waiting) > 1:
            self._of_both = True
            return
        if target is not None and target.kind in ("act", "test") and target.thing is None:
            target.pronoun = True
            target.thing = None
            self._both = True
            target.of_thing = True
        elif target is not None and target.thing is not None:
            target.thing = replace(target.thing, both=True)
        elif self._subjects:
            self._subjects[-1] = replace(self._subjects[-1], both=True)
        else:
            self._both = True
            self._subject_pronoun = True

    def _on_new(self, i: int, c: Constituent) -> None:
        if (
            self._mode in ("act", "state", "test")
            and self._last is not None
            and not self._with
            and not (
                self._last.kind == "act"
                and self._last.thing is None
                and not self._last.pronoun
                and not self._last.fault
            )
        ) and self._handle is None:
            plan, count = self._plan, self._count
            self._close()
            self._plan, self._count = plan, count
        self._new = True

    def _on_take_back(self, i: int, c: Constituent) -> None:
        said = bool(self.frames or self._subjects)
        spoken_of = next((f.thing for f in reversed(self.frames) if f.thing is not None), None)
        self._reset()
        if said:
            self.frames.clear()
            if spoken_of is not None and spoken_of.named:
                self.frames.append(
                    Frame("topic", spoken_of.start, spoken_of.end, spoken_of, spans=list(spoken_of.spans))
                )
        else:
            self.took_back_before = True
        self._plan = False
        self._test = None

    def _on_mend(self, i: int, c: Constituent) -> int | None:
        """A change of mind before a verb drops what was just begun; others were mended when things were grouped."""
        self._mending = True
        skipped = self._sides_mended(i)
        if skipped is not None:
            return skipped
        nxt = next((r for r in self._row[i + 1 :] if r.kind not in ("subject", "unknown", "link", "and")), None)
        if nxt is None or not self.frames:
            return None
        last = self.frames[-1]
        verbs = ("method_verb", "method", "test", "handle")
        if nxt.kind in verbs and last.kind == "test" and not last.result:
            self.frames.remove(last)
            self._reset()
            self._test = None
        elif last.kind == "act" and (nxt.kind == "act" or (nxt.kind in verbs and last.thing is None)):
            self.frames.remove(last)
            self._reset()
        return None

    def _sides_mended(self, i: int) -> int | None:
        """ "Bolt's loose, correction, it's the right one": the side of what was said; the word to go on from."""
        j = i + 1
        while j < len(self._row) and self._row[j].kind in (
            "pronoun",
            "link",
            "determiner",
            "preposition",
            "mend",
            "subject",
        ):
            j += 1
        thing = self._row[j].thing if j < len(self._row) and self._row[j].kind == "thing" else None
        if thing is None or not thing.bare or thing.side is None or not self.frames:
            return None
        if j + 1 < len(self._row) and self._row[j + 1].kind in ("link", "state", "act", "thing"):
            return None
        self.frames[-1].thing = changed(self.frames[-1].thing or thing, side=thing.side)
        return j + 1

    def _on_unknown(self, i: int, c: Constituent) -> None:
        if self._mode == "act" and self._object_unknown(i):
            self._act_on_unknown()
        if self._prep and self._prep != "away":
            nxt = self._row[i + 1] if i + 1 < len(self._row) else None
            if nxt is None or nxt.kind != "thing":
                self._prep = ""

    def _object_unknown(self, i: int) -> bool:
        """ "Dropped my screwdriver": whether an unknown word is what the work was done to."""
        last = self._last
        if last is None or last.kind != "act" or last.thing is not None or last.pronoun or self._prep or self._with:
            return False
        j = i
        while j and self._row[j - 1].kind in ("unknown", "skip", "determiner", "both_of"):
            j -= 1
        named = any(r.is_a("determiner", "owner", "both_of") for r in self._row[j:i])
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        return (
            named
            and j > 0
            and self._row[j - 1].kind == "act"
            and (nxt is None or nxt.kind not in ("thing", "unknown", "state"))
        )

    def _act_on_unknown(self) -> None:
        """Opening something that has no name here is no entry; what was mended with no name is what was spoken of."""
        last = self._last
        assert last is not None
        if (
            "access" in self._lex.states[last.acts[0]].kinds
            if last.acts and last.acts[0] in self._lex.states
            else False
        ):
            self.frames.remove(last)
            self._reset()
            self._mode = "void"
        else:
            last.pronoun = True
