"""Times of day as said: "half past nine", "eight o six", "seven a m", "11:40"."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from fieldnote.extract.cardinals import small
from fieldnote.extract.number_words import ONES, SMALL, TEENS, TENS, ZERO_LETTERS, ZERO_WORDS, cut

_STARTERS = {*SMALL, "half", "quarter", "noon", "midnight", "a"}
_PAST = {"past", "after"}
_TO = {"to", "til", "till", "before"}
_HALVES = {"a m": 0, "p m": 12, "am": 0, "pm": 12, "a.m": 0, "p.m": 12, "a.m.": 0, "p.m.": 12}
_WRITTEN = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)(am|pm)?$")


@dataclass(frozen=True, slots=True)
class TimeMention:
    """A time of day in ``tokens[start:end]``: 24-hour where "am" or "pm" was said, else as said."""

    start: int
    end: int
    hour: int
    minute: int


@dataclass(frozen=True, slots=True)
class _Clock:
    """A time over cut words. ``plain``: nothing but the numbers says that it is one."""

    end: int
    hour: int
    minute: int
    plain: bool = False


def find_times(tokens: Sequence[str]) -> tuple[TimeMention, ...]:
    """Times that say that they are: "half past nine", "three o'clock", "seven a m", "11:40"."""
    words, at = cut(tokens)
    found: list[TimeMention] = []
    i = 0
    while i < len(words):
        if words[i] not in _STARTERS and not words[i][0].isdigit():
            i += 1
            continue
        time = _time_at(words, i)
        if time is None or time.plain:
            i += 1
            continue
        found.append(TimeMention(at[i], at[time.end - 1] + 1, time.hour, time.minute))
        i = time.end
    return tuple(found)


def read_time(tokens: Sequence[str], start: int = 0) -> TimeMention | None:
    """The time that begins at ``tokens[start]`` where one is expected: also "two thirty", "eight o six"."""
    words, at = cut(tokens[start:])
    time = _time_at(words, 0) if words else None
    return TimeMention(start + at[0], start + at[time.end - 1] + 1, time.hour, time.minute) if time else None


def _time_at(words: Sequence[str], i: int) -> _Clock | None:
    word = words[i]
    if word in ("noon", "midnight"):
        return _Clock(i + 1, 12 if word == "noon" else 0, 0)
    written = _WRITTEN.match(word)
    if written:
        time = _Clock(i + 1, int(written[1]), int(written[2]))
        return _shifted(time, 12 if written[3] == "pm" else 0) if written[3] else _with_half_day(words, time) or time
    return _relative(words, i) or _absolute(words, i)


def _relative(words: Sequence[str], i: int) -> _Clock | None:
    """Such as "half past nine", "quarter to one", "ten to eleven pm", "one min to one am"."""
    minutes = _minutes_of(words, i)
    if minutes is None or minutes[1] >= len(words):
        return None
    value, j, named = minutes
    way = words[j]
    if way not in _PAST and way not in _TO:
        return None
    hour = small(words, j + 1)
    if hour is None or not 1 <= hour[0] <= 12 or words[j + 1] in ZERO_WORDS:
        return None
    before = way in _TO
    total = (hour[0] * 60 - value if before else hour[0] * 60 + value) % (12 * 60)
    time = _Clock(hour[1], total // 60 or 12, total % 60)
    closed = _with_half_day(words, time) or _with_clock(words, time)
    if closed:
        # "Quarter to one pm" is 12:45, of the half day that was named.
        return closed
    # "Ten to nine" and "ten after five" are as often other things: a time only after "at".
    return time if named or (i > 0 and words[i - 1] == "at") else None


def _minutes_of(words: Sequence[str], i: int) -> tuple[int, int, bool] | None:
    """Minutes before "past" or "to", the word after them, and whether they can be nothing else."""
    j = i + 1 if words[i] == "a" else i
    if j < len(words) and words[j] == "half":
        return (30, j + 1, True) if words[j + 1 : j + 2] == ["past"] else None
    if j < len(words) and words[j] == "quarter":
        return 15, j + 1, True
    pair = small(words, j) if j == i else None
    if pair is None or not 0 < pair[0] < 60:
        return None
    if pair[1] < len(words) and words[pair[1]] in ("minutes", "minute", "min", "mins"):
        return pair[0], pair[1] + 1, False
    return pair[0], pair[1], False


def _absolute(words: Sequence[str], i: int) -> _Clock | None:
    """Such as "three o'clock", "seven a m", "eleven o six p m", "eight fifty one"."""
    word = words[i]
    hour = ONES.get(word) or (TEENS.get(word) if word in ("ten", "eleven", "twelve") else None)
    if hour is None:
        hour = int(word) if word.isdigit() and word.isascii() and len(word) < 3 else None
    if hour is None or not 0 < hour <= 23:
        return None
    time = _Clock(i + 1, hour, 0)
    exact = _with_clock(words, time) or _with_half_day(words, time)
    if exact:
        return exact
    minute = _minute(words, i + 1)
    if minute is None:
        return None
    time = _Clock(minute[1], hour, minute[0], plain=True)
    return _with_half_day(words, time) or time


def _minute(words: Sequence[str], j: int) -> tuple[int, int] | None:
    if j >= len(words):
        return None
    if words[j] in ZERO_LETTERS or words[j] in ZERO_WORDS:
        digit = ONES.get(words[j + 1]) if j + 1 < len(words) else None
        return (digit, j + 2) if digit else None
    written = len(words[j]) == 2 and words[j].isdigit()
    pair = small(words, j) if written or words[j] in TEENS or words[j] in TENS else None
    return pair if pair and pair[0] < 60 else None


def _with_clock(words: Sequence[str], time: _Clock) -> _Clock | None:
    following = words[time.end : time.end + 2]
    if following[:1] in (["o'clock"], ["oclock"], ["o’clock"]):
        end = time.end + 1
    elif list(following) == ["o", "clock"]:
        end = time.end + 2
    else:
        return None
    exact = _Clock(end, time.hour, time.minute)
    return _with_half_day(words, exact) or exact


def _with_half_day(words: Sequence[str], time: _Clock) -> _Clock | None:
    for length in (1, 2):
        shift = _HALVES.get(" ".join(words[time.end : time.end + length]))
        if shift is not None and time.hour <= 12:
            return _shifted(_Clock(time.end + length, time.hour, time.minute), shift)
    return None


def _shifted(time: _Clock, shift: int) -> _Clock:
    return _Clock(time.end, time.hour % 12 + shift, time.minute)
