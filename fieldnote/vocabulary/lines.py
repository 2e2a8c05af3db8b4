"""Finds the line of a table, a row, a key or a value in a TOML text, since the parser does not tell."""

from __future__ import annotations

import re
from functools import cached_property

_HEADER = re.compile(r"^\s*(\[\[?)\s*([A-Za-z0-9_.\"-]+)\s*\]\]?")


class Lines:
    """Line numbers (from 1) in one text; 0 where nothing is found."""

    def __init__(self, text: str) -> None:
        self._lines = text.splitlines()

    @cached_property
    def _headers(self) -> list[tuple[int, str]]:
        """Every header: its line index and its name."""
        found = []
        for i, line in enumerate(self._lines):
            match = _HEADER.match(line)
            if match:
                found.append((i, match.group(2).strip('"')))
        return found

    @cached_property
    def _by_name(self) -> dict[str, list[tuple[int, int]]]:
        """Start and end (line indexes) of every block by header name, in file order."""
        blocks: dict[str, list[tuple[int, int]]] = {}
        for n, (start, name) in enumerate(self._headers):
            end = self._headers[n + 1][0] if n + 1 < len(self._headers) else len(self._lines)
            blocks.setdefault(name, []).append((start, end))
        return blocks

    def of_table(self, table: str) -> int:
        """The line of a table's first header, or of a bare key of that name at the top."""
        blocks = self._by_name.get(table)
        return blocks[0][0] + 1 if blocks else self._key(0, len(self._lines), table)

    def of_row(self, table: str, index: int, key: str = "", value: str = "") -> int:
        """The line of a row, or of a key or of a value in it."""
        blocks = self._by_name.get(table, ())
        if index >= len(blocks):
            return self.of_table(table)
        return self._within(*blocks[index], key, value)

    def of_key(self, table: str, key: str, value: str = "") -> int:
        """The line of a key (or of a value of it) in a plain table."""
        blocks = self._by_name.get(table, ())
        return self._within(*blocks[0], key, value) if blocks else 0

    def _within(self, start: int, end: int, key: str, value: str) -> int:
        at = self._key(start, end, key) if key else 0
        if value and at:
            quoted = (f'"{value}"', f"'{value}'")
            for i in range(at - 1, end):
                if any(q in self._lines[i] for q in quoted):
                    return i + 1
        return at or start + 1

    def _key(self, start: int, end: int, key: str) -> int:
        pattern = re.compile(rf"^\s*[\"']?{re.escape(key)}[\"']?\s*=")
        for i in range(start, end):
            if pattern.match(self._lines[i]):
                return i + 1
        return 0
