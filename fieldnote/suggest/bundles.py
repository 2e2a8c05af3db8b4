"""Bundles of sources whose findings are few in all, so that sums over sets of findings run over small sets first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldnote.suggest.leak_map import Floats, Ints

WIDTH = 5
"""Findings that the sources of one bundle have in all; a source that has more by itself is a bundle of its own."""


@dataclass(frozen=True, slots=True)
class Bundle:
    """Sources (``members``) that have no findings but ``axes``.

    ``index`` (2^(k-m), 2^m) lists all sets of the k findings: a row for what lies outside the m axes, a column for
    what lies inside. ``inside`` (2^k,) is the column of each set.
    """

    axes: tuple[int, ...]
    members: Ints
    index: Ints
    inside: Ints


def bundles(links: Floats, most: int | None = None) -> list[Bundle]:
    """The sources that ``links`` (k, n) link to any finding, in bundles of at most ``most``."""
    count, n = links.shape
    by_support: dict[int, list[int]] = {}
    for i, bits in enumerate(((links > 0).T @ (1 << np.arange(count))).tolist()):
        if bits:
            by_support.setdefault(bits, []).append(i)
    groups: list[tuple[int, list[int]]] = []
    for bits in sorted(by_support, key=lambda bits: (-bits.bit_count(), bits)):
        sources = by_support[bits]
        while sources:
            g = _fitting(groups, bits, most or n)
            if g is None:
                groups.append((bits, []))
                g = len(groups) - 1
            axes, members = groups[g]
            room = (most or n) - len(members)
            groups[g] = (bits | axes, [*members, *sources[:room]])
            sources = sources[room:]
    known: dict[int, tuple[tuple[int, ...], Ints, Ints]] = {}
    for bits, _ in groups:
        if bits not in known:
            known[bits] = _sets_by_axes(bits, count)
    return [Bundle(known[b][0], np.array(members, dtype=np.intp), known[b][1], known[b][2]) for b, members in groups]


def _fitting(groups: list[tuple[int, list[int]]], bits: int, most: int) -> int | None:
    """The group with room for sources of these findings that grows least by them."""
    fits = [
        ((bits | axes).bit_count() - axes.bit_count(), g)
        for g, (axes, members) in enumerate(groups)
        if len(members) < most and ((bits | axes).bit_count() <= WIDTH or bits == axes)
    ]
    return min(fits)[1] if fits else None


def _sets_by_axes(bits: int, count: int) -> tuple[tuple[int, ...], Ints, Ints]:
    axes = tuple(k for k in range(count) if bits >> k & 1)
    outside = _sets([k for k in range(count) if not bits >> k & 1])
    columns = _sets(axes)
    index = np.asarray(outside[:, None] + columns[None, :], dtype=np.intp)
    inside = np.empty(1 << count, dtype=np.intp)
    inside[index] = np.arange(len(columns))
    return axes, index, inside


def _sets(axes: list[int] | tuple[int, ...]) -> Ints:
    found = np.zeros(1, dtype=np.intp)
    for k in axes:
        found = np.concatenate([found, found + (1 << k)])
    return found
