"""The word lists that the grammar reads from a pack, and what each is for.

A pack gives them in ``[words]``, ``[sides]`` and ``[at]``. The code knows the classes; the words are data. Classes
marked (verbs) list base forms, which the matcher inflects.
"""

from __future__ import annotations

WORD_CLASSES: dict[str, str] = {
    "plain": "ordinary words that look like words of the trade and are never taken for those: thinking, darling",
    # small words
    "adverb": "a position that behind a part tells how something was put: back",
    "label": "before the number of a line or a step, which is no count: line, step",
    "when": "ties what was seen to the test before which it stands: when, while",
    "anew": "before a material: it was put on now, and is none that was there: fresh",
    "shown": "says that something is there to be seen: evident, visible",
    "only": "ends the reach of a negation before what is the case: just, only",
    "answer": "begins the answer to a question: yep, nope",
    "filler": "says nothing: um, okay so, you know, really",
    "opener": "says nothing at the beginning of an utterance: okay, alright",
    "function": "small words that carry nothing by themselves and count as understood: my, some, any",
    "determiner": "opens a thing: the, a, this",
    "subject": "the speaker, before a verb: i, we",
    "to": "before a base verb: to, did",
    "link": "ties a thing to its state: is, are, was, has, got, looks",
    "and": "joins: and, plus, as well as",
    "or": "joins alternatives: or, nor",
    "but": "ends the reach of a negation: but, however, though",
    "then": "begins a new statement: then, after that",
    "next_up": "of the words of then, those that announce: next",
    "preposition": "before the place or part that something is at: in, on, at, along, behind",
    "to_place": "before the place that water is put on or comes out at: to, into, onto, down",
    "nearby": "of the words of preposition, those before what something is merely near to: by, next to",
    "owner": "whose a thing is: my, your",
    "where": "leads in what tells a place: the seam WHERE the pillar meets the roof",
    "which": "leads in what is told of a thing in passing: the gasket WHICH I kept",
    "earlier": "tells of work before this job: last year, a while back",
    "not_yet": "before what was not done yet: before I",
    "hidden": "of the words of preposition, those before what hides something: behind, under, inside",
    "of": "ties a finer word to its owner: of",
    "away": "before a thing that something is merely near to: above, past, outboard of, back from",
    "off": "before what something came off: off, from, off of",
    "with": "before a material: with, using",
    "pronoun": "stands for the thing named before: it, that, they, them, that one",
    "others": "somebody else, whose work is not ours: somebody, the last guy",
    "both_of": "two of the same: both of them, both, each of them",
    # polarity, certainty, mood
    "negator": "denies what follows: no, not, never, without, no sign of",
    "amiss": "what is denied where all is well: anything wrong, any issues",
    "neither": "denies, and means both: neither",
    "hedge": "the speaker doubts: might be, looks like, possibly, I think",
    "question": "opens a question at the beginning of an utterance: should we, I wonder if",
    "question_whole": "a question that is complete, so that what follows is its answer: what did you find",
    "question_inside": "opens a question wherever it stands: should we, I wonder if",
    "conditional": "opens a condition, up to the end of the utterance: if, unless, in case",
    "plan": "still to be done: need to, going to, next I will",
    "plan_noun": "still needs a new one: needs a new",
    "later": "makes the utterance a plan wherever it stands: tomorrow, on monday",
    # what is done
    "look": "(verbs) looking: check, inspect, look at",
    "find": "(verbs) finding: find, see, notice",
    "there_is": "presents a finding: there is, we have",
    "test": "names of a test without a method: water test, leak test",
    "retest": "a test after the repair: retest, recheck",
    "retest_verb": "(verbs) testing after the repair: retest, recheck",
    "test_verb": "(verbs) testing without a method: test, water test",
    "again": "once more: again, another",
    "apply": "(verbs) putting water or a material on: run, put, move, aim",
    "water": "what is put on where no method is said: water",
    "mask": "(verbs) taping off for a test: mask off, tape off",
    "inside": "a result without a place: inside, in the cabin",
    "lasting": "before a duration: for, ran",
    "took": "before a time to leak: in, after, took, within",
    "new": "a new part: new, replacement",
    "put_in": "(verbs) putting a part in: fit, install, put in, go in",
    # causes
    "is_source": "states that what was just said is the cause: that's the leak, is the source",
    "maybe_source": "states the cause only right after a fault: that's it",
    "source_at": "states where the cause is, before the place: the leak is coming from, found the source at",
    "source_first": "states the cause at the beginning of an utterance, before what it is: cause",
    "no_source": "states that this is not the cause: that's not the leak",
    # measures and counts
    "item": "before the number of one of many: number",
    "along": "a length: long, wide",
    "from_there": "after a distance: from, back from, outboard of",
    "approximate": "before a number, loosens it: about, maybe, roughly",
    "labor": "makes hours labor: labor, all up, on the clock",
    # other voices
    "customer": "the customer: customer, owner, driver, lady",
    "says": "how the customer's words are brought in: says, states, reckons",
    "complaint": "before the customer's words, alone: complaint, customer concern",
    "remark": "not about the job, makes the utterance an aside: hand me, raining outside",
    "heading": "headings that change nothing: complaint cause correction",
    # repeats and corrections
    "other_side": "the other side: other side, opposite side",
    "same": "as before: same, identical, same story",
    "stay": "keeps the side: staying on, still on",
    "mend": "mid-sentence change of mind before the right word: no, no wait, I mean, or rather, call it",
}

VERB_CLASSES = ("look", "find", "apply", "mask", "put_in", "retest_verb", "test_verb")
"""Classes that list base forms of verbs."""

FIRST_CLASSES = ("question", "question_whole")
"""Classes that count only at the beginning of an utterance, and so are not matched within one."""

PRIOR_CLASSES = ("is_source", "no_source", "source_at", "maybe_source")
"""Classes whose phrases are matched before all others, whatever word comes before them."""

SIDE_WORDS: dict[str, str] = {
    "left": "left",
    "right": "right",
    "both": "both sides",
    "center": "in the middle, seen across the vehicle",
    "driver": "the driver's side, by the job's steering side (offside, street side)",
    "passenger": "the passenger's side (nearside, curb side)",
}

AT_WORDS: dict[str, str] = {
    name: f"finer position: {name}"
    for name in ("upper", "lower", "front", "rear", "inner", "outer", "corner", "middle")
}
