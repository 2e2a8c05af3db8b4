"""The word lists that the grammar reads from a pack, and what each is for.

A pack gives them in ``[words]``, ``[sides]`` and ``[at]``. The code knows the classes; the words are data.
"""

from __future__ import annotations

WORD_CLASSES: dict[str, str] = {
    "filler": "says nothing: um, okay so, you know",
    "function": "small words that carry nothing by themselves and count as understood: the, a, this, my",
    "link": "ties a thing to its state: is, are, was, has, got, feels",
    "and": "joins: and, plus, as well as",
    "or": "joins alternatives: or, nor",
    "but": "ends the reach of a negation: but, however, though",
    "then": "begins a new statement: then, after that, also",
    "preposition": "before the place or part that something is at: in, on, at, along, behind",
    "of": "ties a finer word to its owner: of",
    "away": "before a thing that something is merely near to: above, below, past, outboard of, back from",
    "off": "after an action, before what the thing came off: off, from, off of",
    "with": "before a material or a fault: with, using",
    "pronoun": "stands for the thing named before: it, that, they, them, that one, him",
    "other_one": "the same thing on the other side: the other one, the other side",
    "both_items": "two or more of the same: both, each, all",
    "negator": "denies what follows: no, not, never, without, no sign of",
    "neither": "denies and means both: neither",
    "only": "says that no more than this: only, just",
    "unable": "denies through a verb: could not find any, did not see any",
    "nothing_wrong": "all well: nothing wrong with, no issues with, no problems",
    "hedge": "the speaker doubts: might be, looks like, possibly, I think",
    "question": "opens a question: should we, I wonder if, what about",
    "conditional": "opens a condition: if, unless, in case",
    "plan": "still to be done: need to, going to, next I will",
    "plan_test": "a test still to be done, without naming a method: test, water test",
    "customer": "before the customer's words: customer says, owner reports",
    "look": "verbs of looking, base forms: check, inspect, look at",
    "find": "verbs of finding, base forms: find, see, notice",
    "there_is": "presents a finding: there is, we have, I have got",
    "test": "names of a test without a method: water test, leak test",
    "retest": "a test after the repair: retest, recheck, water test again",
    "again": "again, once more: makes a test a retest after a repair",
    "apply": "verbs of putting water on, base forms: run, put, move, aim",
    "apply_object": "what is put on where the method is not said: water",
    "mask": "taping off for a test, base forms: mask off, tape off",
    "came_out": "water showed up at a place: came out at, showed up at, ran down to",
    "inside": "result without a place: inside, in the cabin, anywhere",
    "is_source": "states the cause: that is the leak, found the source, there is our problem",
    "source_at": "states where the cause is: leak is coming from, source is, getting in at",
    "no_source": "states that this is not the cause: that is not the leak",
    "remark": "not about the job, weather, helpers: hand me, pass me the, it is raining outside",
    "heading": "a heading that changes nothing: complaint cause correction",
    "correct_side": "mid-sentence change of mind: no, I mean, sorry, rather, make that",
    "take_back_inside": "mid-sentence take-back: no wait, scratch that, strike that",
    "same": "as before: same, same thing, same again, ditto",
    "stay": "keeps the side: staying on, still on, on the same side",
    "item": "before the number of one of many: number, screw number",
    "missing_count": "before a count: a couple of, two, several",
    "per_side": "each on its own: one on each side",
    "along": "length words after a quantity: long, wide, in length",
    "deep": "depth words after a quantity: deep",
    "from_there": "distance words after a quantity: from, back from, outboard of, above, below",
    "lasting": "before a duration: for, ran",
    "took": "before a time to leak: in, after, took, within",
    "torqued": "verbs or words of torque: torqued to, tightened to",
    "fit_new": "a new part put in, base forms: fit a new, install a new",
    "job_end": "closes the job without giving an entry: that is all, end of job",
}

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
