"""The wording of a test: what was put on where, for how long, and what came of it."""

from __future__ import annotations

from fieldnote.narrate.phrases import measure, quantity, series, spot_phrase, subject
from fieldnote.narrate.predicates import DOUBT
from fieldnote.narrate.wording import Wording
from fieldnote.records import Entry, Quantity


def trial_name(entry: Entry, wording: Wording) -> str:
    """``hose test``, ``smoke retest``, ``test`` where no method was recorded."""
    forms = wording.method(entry.method)
    name = forms.test or (f"{wording.name('method', entry.method)} test" if entry.method else "test")
    if entry.stage == "verify":
        name = f"{name.removesuffix('test')}retest" if name.endswith("test") else f"{name}, as a retest,"
    return name


def with_article(noun: str) -> str:
    """The noun with ``a`` or ``an``."""
    return f"an {noun}" if noun[:1].lower() in "aeiou" else f"a {noun}"


def trial_place(entry: Entry, wording: Wording) -> str:
    """Where the test was put on (``on the top of the windshield``); empty where nothing was recorded."""
    if entry.place is None and entry.part is None and entry.side is None:
        return spot_phrase(entry.at)
    found = subject(entry, wording)
    return f"{found.spot} of {found.text}" if found.spot else f"on {found.text}"


def named_trial(entry: Entry, wording: Wording) -> str:
    """The test as a subject (``a hose test on the left tail lamp``)."""
    where = trial_place(entry, wording)
    return " ".join(x for x in (with_article(trial_name(entry, wording)), where) if x)


def of_kind(entry: Entry, what: str) -> tuple[Quantity, ...]:
    """The measures of one kind."""
    return tuple(q for q in entry.quantities if q.what == what)


def trial_clause(entry: Entry, wording: Wording) -> str:
    """The whole test as a clause, without capital and full stop."""
    masked = series([f"the {wording.name('place', p)}" for p in entry.masked])
    tail = f", with {masked} taped off" if masked else ""
    return f"{named_trial(entry, wording)} {result(entry, wording)}{tail}"


def result(entry: Entry, wording: Wording) -> str:
    """What came of the test, with its times (``stayed dry for 3 minutes``)."""
    doubt = f"{DOUBT} " if entry.certainty == "unsure" else ""
    duration, to_leak = of_kind(entry, "duration"), of_kind(entry, "time-to-leak")
    others = tuple(q for q in entry.quantities if q not in (*duration, *to_leak))
    extra = "".join(f" {quantity(q, wording)}" for q in others)
    clock = _clocked(entry, wording)
    ran = series([quantity(q, wording) for q in duration])
    after = series([quantity(q, wording) for q in to_leak])
    verdict, at_rest = _verdict(entry, wording)
    if not verdict:
        start = f"ran {ran}" if ran else "was made"
        return f"{doubt}{start}{' ' + after if after else ''}{extra}{clock}; its result was not recorded"
    if after:
        front = f"ran {ran} and " if ran else ""
        return f"{front}{doubt}{verdict} {after}{extra}{clock}"
    if ran:
        return f"{doubt}{verdict} {ran}{extra}{clock}" if at_rest else f"ran {ran} and {doubt}{verdict}{extra}{clock}"
    if clock:
        return f"{doubt}{verdict}{extra}{clock}"
    if wording.method(entry.method).shows != "water":
        return f"{doubt}{verdict}{extra}"
    missing = "duration" if at_rest else "time"
    return f"{doubt}{verdict}{extra} ({missing} not recorded)"


def _clocked(entry: Entry, wording: Wording) -> str:
    """The times of the voice test clock, kept apart from those that were said."""
    ran = f"ran for {measure(entry.clocked_s, 's', wording)}" if entry.clocked_s is not None else ""
    wet = f"leaked after {measure(entry.clocked_leak_s, 's', wording)}" if entry.clocked_leak_s is not None else ""
    told = series([x for x in (ran, wet) if x])
    return f" (by the test clock: {told})" if told else ""


def _verdict(entry: Entry, wording: Wording) -> tuple[str, bool]:
    """The words of the result, and whether they take a duration behind them ("stayed dry for 3 minutes")."""
    if entry.state is None:
        return "", False
    state, method = wording.state(entry.state), wording.method(entry.method)
    own = {"leak": method.leak, "dry": method.dry}.get(entry.state, "")
    if own:
        denied = {"leak": method.leak_not, "dry": method.dry_not}[entry.state] or f"not {own}"
        return (own if entry.present else denied), False
    plain = state.result or wording.name("state", entry.state)
    if not entry.present:
        plain = state.result_not or f"not {plain}"
    return plain, state.faultless == entry.present


__all__ = ["named_trial", "of_kind", "result", "trial_clause", "trial_name", "trial_place", "with_article"]
