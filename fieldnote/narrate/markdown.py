"""The write-up as Markdown: plain enough to be read as it is, or pasted into a claim."""

from __future__ import annotations

import re

from fieldnote.narrate.document import APPENDIX, Document, Line, Section, Table, spans

_MARKS = re.compile(r"([\\`*_<>\[\]|~])")
_LEAD = re.compile(r"^(\s*)([#+>-]|\d+[.)])(\s)")


def markdown(document: Document) -> str:
    """The document as Markdown (headings, lists, pipe tables)."""
    out = [f"# {_text(document.title)}", "", ". ".join(x for x in (document.kind, document.foot) if x), ""]
    out += [f"- {_text(label)}: {_text(value)}" for label, value in document.facts]
    for section in document.sections:
        out += ["", f"## {section.heading}", ""]
        out += _body(section)
    return "\n".join(out) + "\n"


def _body(section: Section) -> list[str]:
    if section.table is not None:
        if not section.table.rows:
            return [section.empty]
        return _table(section.table, numbered=section.heading != APPENDIX)
    if not section.lines:
        return [section.empty]
    if section.shape == "prose":
        return [" ".join(_line(line) for line in section.lines)]
    if section.shape == "steps":
        return [f"{i}. {_line(line)}" for i, line in enumerate(section.lines, 1)]
    return [f"- {_line(line)}" for line in section.lines]


def _line(line: Line) -> str:
    refs = f" [{spans(line.refs)}]" if line.refs else ""
    return _text(line.text) + refs


def _table(table: Table, *, numbered: bool) -> list[str]:
    heads, rows = table.heads, table.rows
    if numbered and table.keys:
        heads = ("Entry", *heads)
        rows = tuple((str(k), *row) for k, row in zip(table.keys, rows, strict=True))
    out = ["| " + " | ".join(heads) + " |", "| " + " | ".join("---" for _ in heads) + " |"]
    return out + ["| " + " | ".join(_cell(c) for c in row) + " |" for row in rows]


def _text(text: str) -> str:
    """The text with what Markdown would take for marks escaped."""
    escaped = _MARKS.sub(r"\\\1", " ".join(text.split()))
    return _LEAD.sub(r"\1\\\2\3", escaped)


def _cell(text: str) -> str:
    return _text(text) or " "


__all__ = ["markdown"]
