"""Ids for utterances that come as plain text: of the words and how often they came before, never a row number."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Iterator

from fieldnote.records import Utterance


def utterances_of(lines: Iterable[Utterance | str]) -> Iterator[Utterance]:
    """Utterances as they are; lines of text as utterances with an id of their own."""
    seen: Counter[str] = Counter()
    for line in lines:
        if isinstance(line, Utterance):
            yield line
            continue
        seen[line] += 1
        key = f"{line}|{seen[line]}"
        yield Utterance("u" + hashlib.sha256(key.encode("utf-8", "surrogatepass")).hexdigest()[:12], line)
