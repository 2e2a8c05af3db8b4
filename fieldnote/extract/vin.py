"""Vehicle identification numbers: read as spelled, checked by 49 CFR 565, mended only as a proposal."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from fieldnote.extract.spelled import Said, SpelledMention, find_spelled, read_spelled, spelling_table
from fieldnote.extract.vin_rules import LENGTH, check_digit, faults, model_year, other_year

VinStatus = Literal["valid", "unchecked", "wrong", "incomplete", "too-long", "none"]

_CUES = (
    ("vehicle", "identification", "number"),
    ("vehicle", "identification"),
    ("v", "i", "n"),
    ("vin",),
    ("v.i.n",),
    ("v.i.n.",),
)
_CUE_WORDS = frozenset(cue[0] for cue in _CUES)
_AFTER_CUE = {
    "is", "number", "reads", "ends", "in", "with", "on", "this", ":", ",", "-", "and", "starts", "the", "vin",
}  # fmt: skip
_BEFORE_REST = {
    "continuing", "continued", "then", "and", "rest", "of", "the", "vin", "is", "next", "uh", "um", "okay", "so", ",",
}  # fmt: skip
# A VIN begins with a region: 1 to 5 is North America, where the check digit is required.
_NORTH_AMERICA = set("12345")
# Fewer characters than these, in an utterance that does not complete a VIN, are other talk.
_LEAST_MORE = 3
_CLOSED_SAYING: frozenset[Said] = frozenset(("word",))


@dataclass(frozen=True, slots=True)
class Proposal:
    """A VIN that differs in one said-alike character and has the right check digit. Never taken without asking.

    ``position`` counts from 1.
    """

    vin: str
    position: int
    heard: str
    instead: str
    why: str
    year: int | None = None


@dataclass(frozen=True, slots=True)
class VinReading:
    """What was read.

    ``status``: ``valid`` (17 characters, check digit right), ``unchecked`` (17 characters whose check digit does not
    fit, from a region where makers need not use one), ``wrong`` (17 characters, a check digit is required there and
    fails, or a character that no VIN has), ``incomplete``, ``too-long``, ``none`` (nothing spelled).
    ``proposal`` is set where exactly one said-alike slip makes the check digit right; ``candidates`` lists all that
    would. ``year`` is the model year, where the check digit confirms what was heard; ``year_if_heavy`` the other one
    that the code can mean, for vehicles above 4536 kg and trailers. ``said`` tells how each character was said.
    """

    vin: str
    status: VinStatus
    year: int | None = None
    year_if_heavy: int | None = None
    proposal: Proposal | None = None
    candidates: tuple[Proposal, ...] = ()
    warnings: tuple[str, ...] = ()
    said: tuple[Said, ...] = ()


@dataclass(frozen=True, slots=True)
class VinMention:
    """A VIN in ``tokens[start:end]``, from the word "vin" or its first character to its last."""

    start: int
    end: int
    reading: VinReading


def read_vin(text: str) -> VinReading:
    """The VIN spelled in ``text``, which may say "vin" first."""
    return read_vin_over([text])


def read_vin_over(texts: Sequence[str]) -> VinReading:
    """The VIN spelled over several utterances, joined in their order."""
    reading = VinReading("", "none", warnings=("no characters were spelled",))
    for text in texts:
        tokens = text.split()
        if reading.status == "none":
            found = find_vin(tokens, expected=True)
            reading = found.reading if found else reading
            continue
        more = continue_vin(reading, tokens)
        reading = more.reading if more else reading
    return reading


def find_vin(tokens: Sequence[str], *, expected: bool = False) -> VinMention | None:
    """A VIN among other words: after the word "vin", or 17 characters written together or spelled in a row.

    ``expected`` takes what is spelled even where nothing says that it is a VIN and the length is not right.
    """
    cue = _cue(tokens)
    named = _after(tokens, cue[1]) if cue else None
    if cue and named and len(named.text) > 1:
        return VinMention(cue[0], named.end, _judge(named))
    runs = find_spelled(tokens)
    for run in runs:
        whole = _after(tokens, run.start) or run
        if len(whole.text) == LENGTH:
            return VinMention(whole.start, whole.end, _judge(whole))
    if not expected:
        return None
    longest = max(runs, key=lambda run: len(run.text), default=None)
    spelled = _after(tokens, longest.start if longest else 0)
    return VinMention(spelled.start, spelled.end, _judge(spelled)) if spelled else None


def vin_at(tokens: Sequence[str], start: int) -> VinMention | None:
    """The VIN that begins at ``tokens[start]``, for callers with words of their own for "vin"; "is" is passed over."""
    spelled = _after(tokens, start)
    return VinMention(spelled.start, spelled.end, _judge(spelled)) if spelled else None


def continue_vin(reading: VinReading, tokens: Sequence[str]) -> VinMention | None:
    """``reading`` taken up again by the next utterance; None where ``tokens`` spell nothing that goes on with it.

    Characters said again at the seam are counted once where that gives 17; a whole VIN said again replaces the first.
    """
    again = find_vin(tokens)
    if again is not None and len(again.reading.vin) >= LENGTH:
        return again
    if reading.status != "incomplete":
        return None
    start = 0
    while start < len(tokens) and tokens[start].lower() in _BEFORE_REST:
        start += 1
    joined = max((_joined(reading, rest) for rest in _readings(tokens, start)), key=_standing, default=None)
    if joined is None or (len(joined.text) != LENGTH and len(joined.text) - len(reading.vin) < _LEAST_MORE):
        # "One pinhole in the seam" goes on with no VIN.
        return None
    return VinMention(joined.start, joined.end, _judge(joined))


def _joined(reading: VinReading, rest: SpelledMention) -> SpelledMention:
    overlap = _overlap(reading.vin, rest.text)
    return _clip(replace(rest, text=reading.vin + rest.text[overlap:], said=reading.said + rest.said[overlap:]))


def _overlap(first: str, second: str) -> int:
    surplus = len(first) + len(second) - LENGTH
    return surplus if 0 < surplus <= min(len(first), len(second)) and first.endswith(second[:surplus]) else 0


def _cue(tokens: Sequence[str]) -> tuple[int, int] | None:
    """Where "vin" is said, and the word after it; the last one where it is said twice."""
    words = [token if token.isalpha() and token.islower() else token.lower().strip(",:;") for token in tokens]
    if not _CUE_WORDS.intersection(words):
        return None
    for i in range(len(words) - 1, -1, -1):
        for cue in _CUES:
            if words[i] == cue[0] and tuple(words[i : i + len(cue)]) == cue:
                return i, i + len(cue)
    return None


def _after(tokens: Sequence[str], i: int) -> SpelledMention | None:
    """What is spelled from token ``i`` on, passing over "is", "number" and the like."""
    while i < len(tokens) and tokens[i].lower() in _AFTER_CUE:
        i += 1
    return max((_clip(found, tokens) for found in _readings(tokens, i)), key=_standing, default=None)


def _readings(tokens: Sequence[str], i: int) -> list[SpelledMention]:
    """What is spelled from token ``i`` on, the plain reading first; "and" and "for" have more than one."""
    words = {token.lower().strip(",") for token in tokens[i:]}
    ands = (False, True) if "and" in words else (False,)
    fors = (False, True) if "for" in words else (False,)
    tried = (read_spelled(tokens, i, and_is_n=n, for_is_4=four, eager=True) for n in ands for four in fors)
    # No VIN has the letter O: it is a zero, however it was said.
    return [replace(found, text=found.text.replace("O", "0")) for found in tried if found is not None]


def _standing(spelled: SpelledMention) -> tuple[bool, bool]:
    """How well a reading stands among others of the same words: a valid VIN, else one of the right length."""
    return len(spelled.text) == LENGTH and check_digit(spelled.text) == spelled.text[8], len(spelled.text) == LENGTH


def _clip(spelled: SpelledMention, tokens: Sequence[str] = ()) -> SpelledMention:
    """The first 17 characters where they make a valid VIN by themselves: what follows is another number."""
    if len(spelled.text) <= LENGTH or check_digit(spelled.text[:LENGTH]) != spelled.text[8]:
        return spelled
    exact = read_spelled(tokens, spelled.start, LENGTH, eager=True) if tokens else None
    if exact is not None and exact.text.replace("O", "0") == spelled.text[:LENGTH]:
        return replace(exact, text=spelled.text[:LENGTH])
    return replace(spelled, text=spelled.text[:LENGTH], said=spelled.said[:LENGTH])


# ---- judging --------------------------------------------------------------------------------------------------


def _judge(spelled: SpelledMention) -> VinReading:
    vin, said = spelled.text, spelled.said
    warnings = ['"oh" is read as zero: no VIN has the letter O'] if "oh" in said else []
    if len(vin) < LENGTH:
        warnings.append(f"{len(vin)} of {LENGTH} characters heard")
        return VinReading(vin, "incomplete", warnings=tuple(warnings), said=said)
    if len(vin) > LENGTH:
        warnings.append(f"{len(vin)} characters heard, a VIN has {LENGTH}")
        return VinReading(vin, "too-long", warnings=tuple(warnings), said=said)
    return _judge_whole(vin, said, warnings)


def _judge_whole(vin: str, said: tuple[Said, ...], warnings: list[str]) -> VinReading:
    never = sorted(set(vin) & set("IOQ"))
    expected = check_digit(vin)
    if expected is not None and expected == vin[8]:
        # The check digit confirms the zeros too.
        return VinReading(vin, "valid", model_year(vin), other_year(vin), said=said)
    required = vin[0] in _NORTH_AMERICA
    candidates = _candidates(vin, said) if required or vin[8] in "0123456789X" or never else ()
    proposal = candidates[0] if len(candidates) == 1 else None
    if never:
        warnings.append(f"no VIN has the letter {' or '.join(never)}")
    elif required:
        warnings.append(f"check digit {vin[8]} does not fit, {expected} would: say it again or compare with the plate")
    else:
        warnings.append(
            f"position 9 is {vin[8]}, which is not the check digit {expected}: right for many makers outside North "
            "America, so compare with the plate"
        )
    if proposal:
        warnings.append(
            f"{proposal.instead} for {proposal.heard} at position {proposal.position} would fit: proposed only"
        )
    status: VinStatus = "wrong" if required or never else "unchecked"
    return VinReading(vin, status, proposal=proposal, candidates=candidates, warnings=tuple(warnings), said=said)


def _candidates(vin: str, said: tuple[Said, ...]) -> tuple[Proposal, ...]:
    """Every VIN one said-alike character away whose check digit is right and that is not less well formed."""
    table = spelling_table()
    worst = faults(vin)
    found: list[Proposal] = []
    for i, (heard, how) in enumerate(zip(vin, said, strict=True)):
        if heard in table.never_in_vin:
            others = tuple((instead, f"no VIN has {heard}") for instead in table.never_in_vin[heard])
        elif how in _CLOSED_SAYING:
            continue
        else:
            others = table.alike.get(heard, ())
        for instead, why in others:
            tried = vin[:i] + instead + vin[i + 1 :]
            if instead not in "IOQ" and check_digit(tried) == tried[8] and faults(tried) <= worst:
                found.append(Proposal(tried, i + 1, heard, instead, why, model_year(tried)))
    return tuple(found)
