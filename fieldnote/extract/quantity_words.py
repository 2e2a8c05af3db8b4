"""The small words around a quantity: what may stand between number and unit, and what only sounds like a number."""

from __future__ import annotations

from fieldnote.extract.number_words import SMALL, VULGAR

# Between a number and its unit these add nothing: "five more minutes", "a good two inches", "three full hours".
FILLERS = frozenset({"more", "full", "good", "solid", "whole", "straight", "odd", "extra", "additional"})
ARTICLES = {"a", "an"}
JOINS = {"to", "or", "through", "-", "til", "till"}
ITEM_MARKS = {"number", "#"}
STARTERS = frozenset(
    {*SMALL, *VULGAR, *ARTICLES, "half", "quarter", "couple", "dozen", "minus", "negative", "hundred", "thousand"}
    | {"point", "decimal", "double", "triple", "between", "to", "too", "for", "ate", "won"}
)  # fmt: skip
# Written short forms that are ordinary words: a unit only when written against the digits ("2in") or as "2 in.".
WORD_LIKE = {"in", "a", "as", "at", "h", "s", "c", "f"}
# Words of extent after which "three in" is said in shorthand for inches ("three in aft of the hinge", "half in deep").
AFTER_IN = frozenset({
    "deep", "long", "wide", "tall", "high", "thick", "across", "apart", "aft", "forward", "fwd", "from", "above",
    "below", "behind", "outboard", "inboard", "rearward",
})  # fmt: skip
# Numbers that a recogniser writes as the word that sounds alike, and what may be measured so: "to inches of it" is two,
# but "set to psi" and "leaked for minutes" are what they say.
SOUNDS_LIKE_NUMBER: dict[str, tuple[int, tuple[str, ...]]] = {
    "to": (2, ("length", "time")),
    "too": (2, ("length", "time")),
    "for": (4, ("length",)),
    "ate": (8, ("length", "time", "torque", "pressure", "temperature")),
    "won": (1, ("length", "time", "torque", "pressure", "temperature")),
}
NO_NUMBER_AFTER = frozenset({"up", "close", "next", "down", "back", "going", "as", "due", "converted"})
# "A second" is a time after these and a second one elsewhere ("a second grommet").
BEFORE_A_SECOND = {"in", "for", "after", "within", "about", "under", "took", "takes", "than"}
