"""Whether a phrase means something already, as the matcher would take it: plurals, joined and split spelling folded."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from fieldnote.errors import Clash, UserMistake
from fieldnote.vocabulary.confusable import phrases_of
from fieldnote.vocabulary.pack import Command, Pack, Spelling, State, Term

GRAMMAR = frozenset({"filler", "function", "and", "or", "but", "negator", "pronoun", "neither", "question", "same"})
"""Word classes whose words would break sentences if they named something."""

_THINGS = ("place", "part")
_DIGITS = str.maketrans("", "", "0123456789")


@dataclass(frozen=True, slots=True)
class Claim:
    """A phrase and what it means in the pack."""

    phrase: str
    meaning: str
    kind: str
    id: str = ""


def spoken_form(phrase: str) -> str:
    """A phrase as packs hold it: lower case, hyphens as spaces, no punctuation at its ends.

    Raises:
        UserMistake: it holds digits, or nothing.

    """
    form = " ".join(phrase.lower().replace("-", " ").replace("’", "'").strip(' .,;:!?"').split())
    if not form:
        raise UserMistake("a phrase with nothing in it", where=repr(phrase), do="Give the words as they are spoken.")
    if form != form.translate(_DIGITS):
        raise UserMistake("digits are not spoken", where=repr(phrase), do="Write numbers as words: number two.")
    return form


def refuse_taken(pack: Pack, phrases: Sequence[str], *, own: tuple[str, str], kind: str) -> None:
    """Refuse phrases that mean something already in the slot of ``kind``, or that the grammar needs.

    Raises:
        Clash: with what the phrase means already.

    """
    folds = _Folds(pack)
    claims: dict[str, Claim] = {}
    for claim in _claims(pack, kind):
        if (claim.kind, claim.id) != own:
            for key in folds.keys(claim.phrase):
                claims.setdefault(key, claim)
    for phrase in phrases:
        taken = next((claims[k] for k in folds.keys(phrase) if k in claims), None)
        if taken is not None:
            as_said = "" if taken.phrase == phrase else f" (as {taken.phrase!r})"
            raise Clash(f"{phrase!r} is {taken.meaning} already{as_said}", where=pack.id, do="Choose words of its own.")


def _claims(pack: Pack, kind: str) -> Iterator[Claim]:
    yield from _grammar_claims(pack)
    for other in _THINGS if kind in _THINGS else (kind,):
        for term in pack.terms(other):
            if other != "state" or _share_a_kind(term, pack, kind):
                for phrase in phrases_of(term):
                    yield Claim(phrase, f"the {other} {term.id}", other, term.id)


def _share_a_kind(term: Term, pack: Pack, kind: str) -> bool:
    """States may share a word where their kinds differ; the strict loader judges that row by row."""
    return not isinstance(term, State)


def _grammar_claims(pack: Pack) -> Iterator[Claim]:
    for name, table in (("side", pack.sides), ("position", pack.at)):
        for key, phrases in table.items():
            yield from (Claim(p, f"a word for the {name} {key}", name) for p in phrases)
    for command in pack.rows(Command):
        yield from (
            Claim(p, f"the command {command.id}", "command", command.id) for p in (*command.say, *command.inside)
        )
    for word_class in GRAMMAR:
        yield from (Claim(p, f"a word of the grammar ({word_class})", "word") for p in pack.words.get(word_class, ()))
    for unit in pack.terms("unit"):
        yield from (Claim(p, f"the unit {unit.id}", "unit", unit.id) for p in unit.say)


class _Folds:
    """Makes the keys under which the matcher would find a phrase."""

    def __init__(self, pack: Pack) -> None:
        rows: Iterable[Spelling] = pack.lists["spelling"]
        self._spelling = {other: row.word for row in rows for other in row.also}

    def keys(self, phrase: str) -> tuple[str, ...]:
        """The phrase with one spelling each, run together, in the singular and as it is."""
        words = [self._spelling.get(w, w) for w in phrase.replace("'", "").split()]
        whole, single = "".join(words), "".join((*words[:-1], _singular(words[-1])))
        return (whole,) if whole == single else (whole, single)


def _singular(word: str) -> str:
    if len(word) > 4 and word.endswith("ies"):
        return word[:-3] + "y"
    if len(word) > 4 and word.endswith(("ches", "shes", "xes", "ses")):
        return word[:-2]
    return word[:-1] if len(word) > 3 and word.endswith("s") and not word.endswith("ss") else word
