"""Measures, counts and causes in a clause."""

from __future__ import annotations

from dataclasses import replace

from fieldnote.extract.clause_base import ClauseBase
from fieldnote.extract.constituent import Constituent
from fieldnote.extract.frames import Frame, Measure
from fieldnote.extract.noun_phrases import Span, Thing, may_be_same, within
from fieldnote.extract.units import QuantityMention

TIME_TO_LEAK = "time-to-leak"
_TOLD_REACH = 5


class MeasureReader(ClauseBase):
    """Measures, counts and causes in a clause."""

    def _on_quantity(self, i: int, c: Constituent) -> None:
        quantity = c.item.quantity
        assert quantity is not None
        if self._next_round(i):
            self._close()
            self._test, self._earlier_test = None, False
        cue = self._cue(i)
        measure = Measure(quantity, cue, Span(c.start, c.end, "quantity"))
        self._prep = ""
        if self._subjects and self._mode == "" and self._lex.measures.get(quantity.unit) == "torque":
            self._torqued(c)
        target = self._measured(i)
        if target is None:
            self._measures.append(measure)
            return
        if self._dimension(measure) == "torque" and self._put_back(target):
            back = target
            target = self._act((self._tightening(),), back.thing)  # "screws back in, nine newton metres"
            target.pronoun, target.material, back.material = back.pronoun, back.material, None
        elif self._dimension(measure) == "torque" and target.kind != "act":
            worked = next((f for f in reversed(self.frames) if f.kind == "act" and f.thing == target.thing), None)
            if worked is None or worked.measures or not self._takes_torque(worked.acts[0]):
                self._measures.append(measure)
                return
            target = worked  # "tightened the studs, which were loose, to thirty inch pounds"
        if self._water_put_on(target, measure):
            target.kind, target.finding, self._test, self._mode = "test", None, target, "test"
        same = [m for m in target.measures if self._dimension(m) == self._dimension(measure)]
        if same and i and self._row[i - 1].kind == "mend":
            target.measures.remove(same[-1])
        target.measures.append(measure)
        target.mark(c.start, c.end, "quantity")
        if target.kind == "test" and not target.result and not self._negated and self._came_in_after(i):
            target.result, target.result_at = "leak", c.end

    def _next_round(self, i: int) -> bool:
        """ "… no leak, ten minutes on the sunroof": a time and a place after a result begin another test."""
        quantity, last = self._row[i].item.quantity, self._last
        if quantity is None or not self._is_time(quantity) or last is None:
            return False
        result = last.kind == "test" and bool(last.result) and bool(last.measures)
        told = (
            last.kind == "state" and last.finding is not None and bool(last.finding.get("test")) and bool(last.measures)
        )
        if not (result or told) or self._cue(i):
            return False
        row = [r for r in self._row[i + 1 : i + 4] if r.kind not in ("determiner", "skip")]
        at = len(row) > 1 and row[0].is_a("preposition") and row[0].item.text in ("on", "at", "along", "over")
        return at and row[1].thing is not None and row[1].thing.named

    def _put_back(self, frame: Frame) -> bool:
        """Whether the frame tells of access, which has no torque of its own: what was put back was tightened."""
        if frame.kind != "act" or not frame.acts or frame.acts[0] not in self._lex.states:
            return False
        return "access" in self._lex.states[frame.acts[0]].kinds and bool(self._tightening())

    def _tightening(self) -> str:
        """The work that a torque tells of."""
        return next((m.action for m in self._lex.materials.values() if m.action and self._takes_torque(m.action)), "")

    def _water_put_on(self, said: Frame, measure: Measure) -> bool:
        """ "Water on the lamp for ten minutes": a test, and no sign."""
        plain = next((s.id for s in self._lex.states.values() if s.wet), "")
        if said.kind != "state" or said.finding is None or said.finding.get("evidence") != plain or said.presented:
            return False
        timed = self._dimension(measure) == "time" and measure.cue != "took" and measure.quantity.unit != "s"
        after = next((r for r in self._row if r.start >= said.spans[0].end and r.kind != "skip"), None)
        put = after is not None and after.item.text in ("on", "over", "along", "onto", "to")
        return timed and put and said.present and said.head_form == "noun" and not said.measures

    def _torqued(self, c: Constituent) -> None:
        """ "Studs to thirty inch pounds": tightened, whatever the verb."""
        tighten = self._tightening()
        if tighten:
            subjects, material = list(self._subjects), self._material
            new = subjects[-1].new  # "new screw, eight newton metres"
            frame = self._act((tighten,), subjects[-1], new=new)
            frame.material = material
            for earlier in subjects[:-1]:
                frame.more.append(earlier)
            frame.mark(c.start, c.end, "head")

    def _cue(self, i: int) -> str:
        before = self._row[i - 1] if i else None
        after = self._row[i + 1] if i + 1 < len(self._row) else None
        length = self._lex.measures.get(self._row[i].item.quantity.unit) == "length"  # type: ignore[union-attr]
        if length and after is not None and after.is_a("from_there") and not after.is_a("along"):
            return "from-there"
        if length:
            return "along"
        k = i - 1
        while k >= 0 and self._row[k].kind in ("hedge", "determiner", "unknown", "mend"):
            k -= 1
        before = self._row[k] if k >= 0 else None
        if before is not None and before.is_a("lasting") and before.item.text not in ("over",):
            return "lasting"
        if before is not None and before.is_a("took"):
            return "took"
        told = self._told_after(i)
        return "took" if told and told[1] == TIME_TO_LEAK else ""

    def _told_after(self, i: int) -> tuple[tuple[str, ...], str] | None:
        """The words right behind the measure that tell which property it is ("before it showed"), and its id."""
        words = [w for r in self._row[i + 1 : i + 1 + _TOLD_REACH] for w in r.item.text.split(" ")]
        for phrase, id in self._lex.told_after.get(words[0], ()) if words else ():
            if tuple(words[: len(phrase)]) == phrase:
                return phrase, id
        return None

    def _came_in_after(self, i: int) -> bool:
        """ "Took two minutes before it showed": the time of something, so that it leaked."""
        told = self._told_after(i)
        return told is not None and told[1] == TIME_TO_LEAK and len(told[0]) > 1

    def _measured(self, i: int) -> Frame | None:
        """The frame that a quantity belongs to; None where it belongs to what comes next."""
        j = i + 1
        while j < len(self._row) and self._row[j].kind in ("of", "skip", "hedge", "determiner"):
            j += 1
        nxt = self._row[j] if j < len(self._row) else None
        dimension = self._lex.measures.get(self._row[i].item.quantity.unit)  # type: ignore[union-attr]
        if dimension == "length":
            if self._last is None and self._linked and self.frames and self.frames[-1].kind in ("state", "source"):
                said = self.frames[-1]
                if self._subject_pronoun or (self._subjects and self._subjects[-1] is said.thing):
                    self._subjects, self._subject_pronoun = [], False
                    self._last, self._mode = said, "state"
                    return said  # "a skip, it's an inch long", "a skip that was an inch long"
            before_noun = (
                nxt is not None and nxt.kind in ("state", "water") and nxt.item.sense("state", "noun") is not None
            )
            if before_noun and not self._row[i].is_a("x"):
                return None
            return self._last
        if dimension in ("time", "pressure", "temperature"):
            if self._test is not None and (
                self._last is None
                or self._last is self._test
                or self._last.outlet
                or self._mode in ("test", "")
                or self._last.kind == "state"
            ):
                return self._test
            if self._last is not None and self._last.kind == "act" and dimension == "time":
                return None
            if self._last is not None and self._last.measures and nxt is not None and nxt.kind == "state":
                return None  # "no leak at five minutes, at seven it came in"
            acting = self._last is not None and self._last.kind == "act"
            return None if acting and dimension == "time" else self._last
        return self._last

    def _on_number(self, i: int, c: Constituent) -> None:
        number = c.item.number
        if number is None or not isinstance(number.value, int):
            return
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if number.kind == "ordinal":
            # "The third screw from the front": which of them.
            part = nxt.thing if nxt is not None and nxt.start == c.end else None
            self._ordinal = number.value if part is not None and part.part is not None and not part.named else None
            return
        if self._of_how_many(i):
            return
        if (i and self._row[i - 1].kind == "item") or (
            i and self._row[i - 1].is_a("item") and self._row[i - 1].kind != "negator"
        ):
            last = self._last.thing if self._last is not None else None
            if last is not None and last.item not in (None, number.value) and nxt is not None and nxt.kind == "link":
                self._begin(replace(last, item=number.value))  # "number four is loose, number five is fine"
            elif self._last is not None and self._last.thing is not None:
                self._last.thing = replace(self._last.thing, item=number.value)
            elif self._subjects:
                self._subjects[-1] = replace(self._subjects[-1], item=number.value)
            else:
                self._outer = Thing(item=number.value, start=c.start, end=c.end)
            return
        if self._time_again(i, c):
            return
        if number.value < 2 or self._one_of_them(number.value, nxt):
            return
        if i and self._row[i - 1].is_a("took") and (nxt is None or nxt.kind in ("and", "but", "then")):
            return  # "dry at ten": a time, and no count
        if nxt is None or nxt.kind == "of":
            target = self._last or (self.frames[-1] if self.frames else None)
            if target is not None and target.kind == "state" and not self._presented:
                target.count = number.value
                target.mark(c.start, c.end, "quantity")
            else:
                self._count = number.value
        elif nxt.kind == "determiner" and nxt.item.text in ("the", "this", "that"):
            return  # "suspect two, the left lamp"
        elif nxt.kind in ("thing", "state", "new", "unknown", "determiner"):
            k = i + 1
            while k < len(self._row) and self._row[k].kind == "unknown":
                k += 1
            if k == len(self._row) or self._row[k].kind not in ("preposition", "off", "away", "of", "to_place"):
                self._count = number.value  # not in "eight litres out of the carpet"

    def _one_of_them(self, value: int, nxt: Constituent | None) -> bool:
        """Numbers before "is" or "are": how many of those that were named, or which of them."""
        if nxt is None or nxt.kind != "link":
            return False
        listed = self._subjects[-1] if self._subjects and self._mode == "" else None
        if listed is not None and listed.part is not None:
            self._subjects[-1] = replace(listed, count=value)  # "of the four drain holes two are blocked"
            return True
        last = self._last.thing if self._last is not None and self._mode == "state" else None
        if last is None or last.item is None:
            return False
        self._begin(replace(last, item=value))  # "screws one and three are loose, two is missing"
        return True

    def _of_how_many(self, i: int) -> bool:
        """ "Five of the eight clips": how many there are, when it was said how many of them are meant."""
        k = i - 1
        while k >= 0 and self._row[k].kind in ("determiner", "of", "skip"):
            k -= 1
        led = any(r.kind == "of" for r in self._row[k + 1 : i])
        return led and k >= 0 and self._row[k].kind == "number" and self._count is not None

    def _time_again(self, i: int, c: Constituent) -> bool:
        """ "Ten minutes with the hose, leaked after two": a time whose unit was said before in the sentence."""
        number, before = c.item.number, self._row[i - 1] if i else None
        nxt = self._row[i + 1] if i + 1 < len(self._row) else None
        if (
            number is None
            or number.value <= 0
            or before is None
            or not before.is_a("took")
            or before.is_a("from_there")
        ):
            return False
        if nxt is not None and nxt.kind in ("thing", "determiner", "new", "of", "item", "number", "unknown"):
            return False
        said = next(
            (r.item.quantity for r in reversed(self._row[:i]) if r.item.quantity and self._is_time(r.item.quantity)),
            None,
        )
        if said is None:
            return False
        quantity = replace(said, start=c.start, end=c.end, value=number.value, low=None, high=None)
        self._row[i] = replace(c, kind="quantity", item=replace(c.item, quantity=quantity, number=None))
        self._on_quantity(i, self._row[i])
        return True

    def _is_time(self, quantity: QuantityMention) -> bool:
        return self._lex.measures.get(quantity.unit) == "time"

    def _on_is_source(self, i: int, c: Constituent) -> None:
        while (
            self.frames
            and self.frames[-1].kind == "state"
            and (
                self.frames[-1].thing is None
                or (len(self.frames) > 1 and self.frames[-1].thing == self.frames[-2].thing)
            )
            and (
                self.frames[-1].finding is not None
                and not self.frames[-1].finding.get("check")
                and self.frames[-1].finding.get("test")
            )
        ):
            self.frames.pop()  # "the pinholes that leak": says no more than the cause does
        earlier = [f for f in self.frames if f.kind == "state" and f.present and not f.outlet]
        named = self._subjects[-1] if self._subjects else None
        unsure = self._unsure
        if (
            earlier
            and self._mode != "void"
            and (
                named is None
                or earlier[-1].thing is None
                or named == earlier[-1].thing
                or (may_be_same(earlier[-1].thing, named) and named.part)
            )
        ):
            frame = earlier[-1]
            if named is not None:
                frame.thing = named if frame.thing is None else within(named, frame.thing)
                frame.spans.extend(named.spans)
                self._subjects = []
            if frame.finding is not None and (frame.finding.get("check") or frame.finding.readings):
                frame.kind = "source"
                frame.unsure = frame.unsure or unsure
                frame.mark(c.start, c.end, "head")
                self._last, self._mode = frame, "source"
                return
        self._subjects = []
        self._close()
        frame = Frame("source", c.start, c.end, named, unsure=unsure)
        frame.mark(c.start, c.end, "head")
        self._mode = "source"
        self._add(frame)

    def _on_maybe_source(self, i: int, c: Constituent) -> None:
        """ "That's it", "probably the leak": the cause where nothing else is said, and a fault was said before."""
        others = [
            r
            for r in self._row
            if r is not c
            and r.kind not in ("hedge", "link", "pronoun", "unknown", "determiner", "subject", "then", "and")
        ]
        if others and not any(r.kind in ("state", "thing") and r.start < c.start for r in others):
            return
        if others and c.item.text.startswith("the "):
            return
        if any(r.start > c.start for r in others) and not c.item.text.startswith(("that", "there", "our", "your")):
            self._close()
            return  # "bingo, water running down the pillar": joy, and no cause
        self._on_is_source(i, c)
        self.frames[-1].presented = True

    def _on_source_at(self, i: int, c: Constituent) -> None:
        unsure = self._unsure
        self._subjects = []
        self._close()
        frame = Frame("source", c.start, c.end, unsure=unsure)
        frame.mark(c.start, c.end, "head")
        frame.of_thing = True
        self._mode = "source"
        self._add(frame)

    def _on_no_source(self, i: int, c: Constituent) -> None:
        self._close()
        self._mode = "void"
