"""Reads the prose back into what it says: written apart from the code that writes it, from the pack's files alone.

A sentence is cut into known phrases, longest first, and these are put together again by English word order. What it
cannot read it refuses, so that a word which no entry stands for fails a test.
"""

import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path

IDS = tomllib.loads((Path(__file__).parents[1] / "scoring" / "ids.toml").read_text(encoding="utf-8"))
PACK = Path(__file__).parents[2] / "vocab" / "body-leaks"
SIDES = {"left", "right", "both", "center"}
FINE = {
    "top": "upper", "upper": "upper", "bottom": "lower", "lower": "lower", "front": "front", "rear": "rear",
    "inside": "inner", "inner": "inner", "outside": "outer", "outer": "outer", "corner": "corner", "middle": "middle",
}  # fmt: skip


@dataclass
class Said:
    """One thing that a sentence says."""

    place: str | None = None
    part: str | None = None
    side: str | None = None
    state: str | None = None
    present: bool = True
    certainty: str = "sure"
    at: set[str] = field(default_factory=set)
    item: int | None = None
    quantities: list[tuple[str, float, str]] = field(default_factory=list)
    method: str | None = None
    material: str | None = None
    verify: bool = False

    def key(self) -> tuple[object, ...]:
        return (
            self.place, self.part, self.side, self.state, self.present, self.certainty, tuple(sorted(self.at)),
            self.item, tuple(sorted(self.quantities)), self.method, self.material, self.verify,
        )  # fmt: skip


def _rows(kind: str) -> list[dict[str, object]]:
    return [row for path in sorted(PACK.glob("*.toml")) for row in _load(path).get(kind, []) if isinstance(row, dict)]


def _load(path: Path) -> dict[str, list[dict[str, object]]]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


class Lexicon:
    """Phrases of the pack and what each can stand for."""

    def __init__(self) -> None:
        self.words: dict[str, set[tuple[str, str]]] = {}
        wording = tomllib.loads((PACK / "wording.toml").read_text(encoding="utf-8"))
        for kind in ("place", "part", "material"):
            for row in _rows(kind):
                self._add(str(row["name"]), kind, str(row["id"]))
                self._add(str(row.get("plural", row["name"])), kind, str(row["id"]))
        for id, forms in wording["state"].items():
            for key in ("is", "is_not", "done", "result", "result_not"):
                if key in forms:
                    self._add(forms[key], "no-result" if key == "result_not" else key.split("_")[0], id)
            if "has" in forms:
                self._add(re.sub(r"^an? ", "", forms["has"]), "noun", id)
                self._add(forms.get("has_many", re.sub(r"^an? ", "", forms["has"])), "noun", id)
        for forms in wording["part"].values():
            if "ok" in forms:
                self._add(forms["ok"], "is", "ok")
        for id, forms in wording["method"].items():
            self._add(forms["test"], "method", id)
            self._add(forms["test"].removesuffix("test") + "retest", "method-again", id)
            for key, state in (("leak_not", "leak"), ("dry_not", "dry")):
                if key in forms:
                    self._add(forms[key], "no-result", state)
            for key, state in (("leak", "leak"), ("dry", "dry")):
                if key in forms:
                    self._add(forms[key], "result", state)
        self.units = {word: id for id, forms in wording["unit"].items() for word in (forms["one"], forms["many"])}
        self.quantities: dict[str, set[str]] = {}
        for id, forms in wording["quantity"].items():
            for key in ("reads", "reads_is"):
                if key in forms and not forms[key].startswith("{}"):
                    self.quantities.setdefault(forms[key].removesuffix(" {}"), set()).add(id)
        phrases = sorted((*self.words, *self.units), key=len, reverse=True)
        self.pattern = re.compile(
            r"(?P<number>-?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?(?:e[-+]?\d+)?)"
            r"|(?P<phrase>(?:" + "|".join(re.escape(p.lower()) for p in phrases) + r")(?![\w-]))"
            r"|(?P<word>[\w°'·-]+)|(?P<mark>[,;:()“”.])",
        )
        self.paired = {str(r["id"]) for r in _rows("place") if r.get("paired")}

    def _add(self, phrase: str, kind: str, id: str) -> None:
        self.words.setdefault(phrase.lower(), set()).add((kind, id))


@dataclass(frozen=True)
class Token:
    text: str
    kinds: frozenset[tuple[str, str]] = frozenset()
    number: float | None = None

    def id(self, *kinds: str) -> str | None:
        return next((i for k, i in sorted(self.kinds) if k in kinds), None)


class Unreadable(AssertionError):
    """A sentence that says something which cannot be read back."""


class Reader:
    """Reads sentences of the order of work."""

    def __init__(self) -> None:
        self.lexicon = Lexicon()

    def tokens(self, text: str) -> list[Token]:
        out = []
        for match in self.lexicon.pattern.finditer(text.lower()):
            if match.group("number"):
                out.append(Token(match.group(), number=float(match.group().replace(",", ""))))
            elif match.group("phrase"):
                phrase = match.group()
                kinds = set(self.lexicon.words.get(phrase, ()))
                unit = next((u for w, u in self.lexicon.units.items() if w.lower() == phrase), None)
                if unit:
                    kinds.add(("unit", unit))
                out.append(Token(phrase, frozenset(kinds)))
            else:
                out.append(Token(match.group()))
        return out

    def read(self, text: str) -> list[Said]:
        """Everything that one sentence says."""
        tokens = self.tokens(text.removesuffix("."))
        words = [t.text for t in tokens]
        if words[0] == "there":
            return self._there(tokens)
        if words[0] in ("a", "an") and any(
            t.id("method", "method-again") or t.text in ("test", "retest") for t in tokens[:2]
        ):
            return [self._test(tokens)]
        return self._subjects_first(tokens)

    # -- the three shapes ---------------------------------------------------------------------------------------

    def _there(self, tokens: list[Token]) -> list[Said]:
        assert tokens[1].text in ("was", "were")
        at = 2
        nouns: list[Said] = []
        sure = True
        while at < len(tokens):
            token = tokens[at]
            if token.text == "possibly":
                sure = False
            elif token.text in ("in", "on", "at") and not self._measure_at(tokens, at):
                break
            elif token.text in ("a", "an", "and", ","):
                pass
            elif token.text == "no":
                nouns.append(Said(present=False, certainty="sure" if sure else "unsure"))
                sure = True
            elif token.number is not None and tokens[at + 1].id("noun"):
                nouns.append(Said(certainty="sure" if sure else "unsure", quantities=[("count", token.number, "")]))
                sure = True
            elif token.text == "unnamed":
                if not nouns or nouns[-1].state is not None:
                    nouns.append(Said(certainty="sure" if sure else "unsure"))
                    sure = True
                at += 1
            elif token.id("noun"):
                fresh = not nouns or nouns[-1].state is not None
                if fresh:
                    nouns.append(Said(certainty="sure" if sure else "unsure"))
                    sure = True
                nouns[-1].state = token.id("noun")
            else:
                at = self._measure(tokens, at, nouns[-1])
                continue
            at += 1
        places, at = self._subjects(tokens, at, stop=frozenset())
        fine, rest = self._fine(tokens, at)
        if rest != len(tokens):
            raise Unreadable(f"left over: {tokens[rest:]}")
        return [self._put(n, p, fine) for n in nouns for p in places]

    def _test(self, tokens: list[Token]) -> Said:
        said = Said(method=tokens[1].id("method", "method-again"))
        said.verify = bool(tokens[1].id("method-again")) or tokens[1].text == "retest"
        at = 2
        fine, center_first = self._fine(tokens, at)
        if fine:
            at = center_first + (tokens[center_first].text == "of")
        else:
            at += tokens[at].text == "on"
        stop = {"stayed", "leaked", "ran", "was", "possibly", "did", "showed", "not"}
        places, at = self._subjects(tokens, at, stop=frozenset(stop))
        while at < len(tokens):
            token = tokens[at]
            if token.id("result"):
                said.state = token.id("result")
            elif token.id("no-result"):
                said.state, said.present = token.id("no-result"), False
            elif token.text == "possibly":
                said.certainty = "unsure"
            elif token.text == "(" and tokens[at + 1].text in ("duration", "time"):
                at += 5
                continue
            elif token.text == ";":
                assert [t.text for t in tokens[at + 1 :]] == ["its", "result", "was", "not", "recorded"]
                break
            elif token.text in ("ran", "and", "was", "made"):
                pass
            else:
                at = self._measure(tokens, at, said)
                continue
            at += 1
        return self._put(said, places[0] if places else Said(), fine)

    def _subjects_first(self, tokens: list[Token]) -> list[Said]:
        stop = frozenset({"was", "were", "had", "each", "possibly", ",", "still"})
        subjects, at = self._subjects(tokens, 0, stop=stop)
        if [t.text for t in tokens[-2:]] == ["the", "source"] or "source" in {t.text for t in tokens[-8:]}:
            return self._source(subjects, tokens, at)
        predicates = self._predicates(tokens, at)
        return [self._put(p, s, set()) for p in predicates for s in subjects]

    def _source(self, subjects: list[Said], tokens: list[Token], at: int) -> list[Said]:
        words = [t.text for t in tokens]
        said = Said()
        fine, at = self._fine(tokens, at)
        if words[at] == "," and words[at + 1] == "which":
            end = at + 2 + words[at + 2 :].index(",")
            said = self._predicates(tokens[:end], at + 2)[0]
            said.certainty = "sure"
            at = end + 1
        said.at |= fine
        ending = words[at + 1 :]
        if ending[:4] == ["ruled", "out", "as", "the"]:
            said.present = False
            said.certainty = "sure"
            at += 6
        elif ending[:5] == ["possibly", "ruled", "out", "as", "the"]:
            said.present, said.certainty = False, "unsure"
            at += 7
        else:
            assert ending[:2] == ["named", "as"]
            said.certainty = "unsure" if "possible" in ending else "sure"
            at += 1 + ending.index("source") + 1
        while at < len(tokens):
            at = self._measure(tokens, at, said)
        return [self._put(said, s, set()) for s in subjects]

    # -- pieces -------------------------------------------------------------------------------------------------

    def _predicates(self, tokens: list[Token], at: int) -> list[Said]:
        out: list[Said] = []
        sure, present = True, True
        fresh = True
        while at < len(tokens):
            token = tokens[at]
            if token.text in ("was", "were", "had", "each", ",", "and", "a", "an", "still", "be") or (
                token.text == "to" and tokens[at + 1].text in ("be", "come")
            ):
                pass
            elif token.text == "possibly":
                sure = False
            elif token.text in ("not", "no"):
                present = False
            elif token.text in ("repaired", "opened", "looked", "tested", "come"):
                state = "test" if token.text == "tested" else None
                out.append(Said(state=state, present=present, certainty="sure" if sure else "unsure"))
                sure, present, fresh = True, True, True
                if token.text == "looked":
                    assert [t.text for t in tokens[at + 1 : at + 6]] == ["at", ",", "finding", "not", "recorded"]
                    at += 6
                    continue
                at += token.text == "opened"
            elif token.number is not None and at + 1 < len(tokens) and tokens[at + 1].id("noun"):
                out.append(
                    Said(
                        state=tokens[at + 1].id("noun"),
                        present=present,
                        certainty="sure" if sure else "unsure",
                        quantities=[("count", token.number, "")],
                    )
                )
                sure, present = True, True
                at += 1
            elif token.id("is", "done", "noun") and fresh | True and not self._starts_measure(tokens, at):
                out.append(
                    Said(state=token.id("is", "done", "noun"), present=present, certainty="sure" if sure else "unsure")
                )
                sure, present = True, True
            else:
                fine, after = self._fine(tokens, at)
                if fine:
                    out[-1].at |= fine
                    at = after
                    continue
                at = self._measure(tokens, at, out[-1])
                continue
            at += 1
        return out

    def _starts_measure(self, tokens: list[Token], at: int) -> bool:
        return tokens[at].text == "with"

    def _measure_at(self, tokens: list[Token], at: int) -> bool:
        words = [t.text for t in tokens[at : at + 4]]
        return words == ["at", "a", "distance", "of"] or (at + 1 < len(tokens) and tokens[at + 1].number is not None)

    def _measure(self, tokens: list[Token], at: int, said: Said) -> int:
        """One measure, material or count; the index behind it."""
        if tokens[at].text == "with":
            said.material = tokens[at + 1].id("material")
            if said.material is None:
                raise Unreadable(f"no material: {tokens[at:]}")
            return at + 2
        if tokens[at].number is not None and [t.text for t in tokens[at + 1 : at + 3]] == ["in", "number"]:
            said.quantities.append(("count", tokens[at].number, ""))
            return at + 3
        for words, what in sorted(self.lexicon.quantities.items(), key=lambda x: -len(x[0])):
            lead = words.split()
            if [t.text for t in tokens[at : at + len(lead)]] == lead and tokens[at + len(lead)].number is not None:
                number = tokens[at + len(lead)].number
                unit = tokens[at + len(lead) + 1].id("unit") or tokens[at + len(lead) + 1].text
                assert number is not None
                said.quantities.append((self._what(unit, what), number, unit))
                return at + len(lead) + 2
        raise Unreadable(f"cannot read {[t.text for t in tokens[at:]]}")

    def _what(self, unit: str, possible: set[str]) -> str:
        """Which measure the phrase is of: a length or a time, a temperature or a pressure, by its unit."""
        (what,) = (w for w in possible if unit in IDS["quantity"][w])
        return what

    def _fine(self, tokens: list[Token], at: int) -> tuple[set[str], int]:
        """A finer position ("at the lower rear corner"); empty where none begins here."""
        if at + 2 > len(tokens) or tokens[at].text not in ("at", "on", "in") or tokens[at + 1].text != "the":
            return set(), at
        end = at + 2
        found = set()
        while end < len(tokens) and tokens[end].text in {*FINE, "center"}:
            found.add(FINE.get(tokens[end].text, tokens[end].text))
            end += 1
        if found == {"center"}:
            return set(), at
        return (found, end) if found else (set(), at)

    def _subjects(self, tokens: list[Token], at: int, *, stop: frozenset[str]) -> tuple[list[Said], int]:
        """Noun phrases up to a verb; a home said once at the end goes to all before it that have none."""
        done: list[Said] = []
        waiting: list[Said] = []
        sides: list[str] = []
        whole_side = False
        item_next = False
        while at < len(tokens):
            token = tokens[at]
            listing = token.text == "," and at + 1 < len(tokens) and tokens[at + 1].text != "which"
            if stop and token.id("result", "no-result"):
                break
            if token.text in stop and not (listing and (waiting or done)):
                break
            if (waiting or done or sides) and self._fine(tokens, at)[0] and not self._is_home(tokens, at):
                break
            if token.number is not None and item_next:
                if not waiting or waiting[-1].item is not None:
                    waiting.append(Said())
                waiting[-1].item = int(token.number)
                item_next = False
            elif token.text == "number":
                item_next = True
            elif token.number is not None:
                waiting.append(Said(quantities=[("count", token.number, "")]))
            elif token.text in SIDES:
                sides.append(token.text)
            elif token.text in ("side", "sides"):
                whole_side = True
            elif token.id("part") and not (token.id("place") and self._is_place(tokens, at)):
                counted = waiting.pop() if waiting and waiting[-1].part is None and waiting[-1].quantities else None
                said = Said(part=token.id("part"), quantities=counted.quantities if counted else [])
                if sides:
                    said.side = sides.pop()
                waiting.append(said)
            elif token.id("place"):
                place = token.id("place")
                waiting = waiting or [Said()]
                homes = sides or [None]
                for side in homes:
                    for head in waiting:
                        copy = Said(place=place, part=head.part, side=head.side or side, item=head.item)
                        copy.quantities = list(head.quantities)
                        done.append(copy)
                waiting, sides, whole_side = [], [], False
            elif token.text in ("a", "spot"):
                words = [t.text for t in tokens[at : at + 7]]
                assert words == ["a", "spot", "whose", "place", "was", "not", "recorded"], words
                waiting = waiting or [Said()]
                done += waiting
                waiting = []
                at += 7
                continue
            elif token.text in ("the", "and", "in", "on", "at", "of", ",", ";"):
                pass
            else:
                raise Unreadable(f"cannot read {token.text!r} in {[t.text for t in tokens]}")
            at += 1
        if waiting:
            for head in waiting:
                if sides:
                    head.side = sides[-1]
            done += waiting
        elif sides:
            done.append(Said(side=sides[-1]))
        del whole_side
        return done, at

    def _is_home(self, tokens: list[Token], at: int) -> bool:
        """Whether "at the center of …" or "on the left side of …" begins here, which belongs to the noun."""
        end = at + 2
        while end < len(tokens) and tokens[end].text in {*FINE, *SIDES}:
            end += 1
        return end < len(tokens) and (tokens[end].text in ("side", "sides", "of") or bool(tokens[end].id("place")))

    def _is_place(self, tokens: list[Token], at: int) -> bool:
        return tokens[at - 1].text != "the" or True

    def _put(self, predicate: Said, subject: Said, fine: set[str]) -> Said:
        at = set(predicate.at) | fine
        side = subject.side
        if "center" in at:
            at.discard("center")
            side = "center"
        return Said(
            place=subject.place,
            part=subject.part,
            side=side,
            state=predicate.state,
            present=predicate.present,
            certainty=predicate.certainty,
            at=at,
            item=subject.item,
            quantities=[*predicate.quantities, *subject.quantities],
            method=predicate.method,
            material=predicate.material,
            verify=predicate.verify,
        )
