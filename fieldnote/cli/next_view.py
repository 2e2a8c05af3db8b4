"""How advice looks in a terminal of 80 columns: candidates with bars, then the steps, then the cautions."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from fieldnote.records import Advice, Rates, Reason, Step, Suggestion, Unused

if TYPE_CHECKING:
    from fieldnote.suggest import LeakMap
    from fieldnote.suggest.learning import Change

LINE = 92
BAR = 12
_FEW_CANDIDATES, _FEW_REASONS, _FEW_STEPS = 5, 1, 3


def show_advice(console: Console, advice: Advice, leak_map: LeakMap, *, everything: bool) -> None:
    """Print all of ``advice``; without ``everything`` only the strongest candidates, reasons and steps.

    What to do stands last, so that a small window shows it without scrolling back.
    """
    console.width = min(console.width, LINE)
    few = len(advice.suggestions) if everything else _FEW_CANDIDATES
    ending = bool(advice.plan) and advice.plan[0].place is None
    console.print(Text("Should there be another leak" if ending else "Where the water may come in", style="bold"))
    for suggestion in advice.suggestions[:few]:
        _suggestion(console, suggestion, leak_map, everything)
    _more(console, len(advice.suggestions) - few, "candidates")
    for note in advice.notes:
        console.print(Padding(Text(note, style="italic"), (0, 0, 0, 2)))
    _unused(console, advice.unused, everything)
    _aftercare(console, advice)
    console.print()
    console.print(Text("What to do next, in this order", style="bold"))
    few = len(advice.plan) if everything else _FEW_STEPS
    letters = _letters(advice.plan[:few], advice.cautions)
    for step in advice.plan[:few]:
        _step(console, step, leak_map, letters)
    if not advice.plan:
        console.print("  Nothing is left to look for.")
    _more(console, len(advice.plan) - few, "steps")
    _cautions(console, letters, advice.cautions)


def _more(console: Console, many: int, what: str) -> None:
    if many > 0:
        console.print(Text(f"  … {many} more {what} with --all", style="dim"))


def _suggestion(console: Console, suggestion: Suggestion, leak_map: LeakMap, everything: bool) -> None:
    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=2, justify="right")
    grid.add_column(width=4, justify="right")
    grid.add_column(width=BAR)
    grid.add_column()
    where = _where(leak_map, suggestion.place, suggestion.part, suggestion.side)
    full = round(suggestion.probability * BAR)
    bar = Text("█" * full, style="cyan") + Text("·" * (BAR - full), style="dim")
    body = Text(where, style="bold")
    body.append(f"\n{suggestion.name}", style="")
    reasons = [r for r in suggestion.because if r.entries or r.weight] or list(suggestion.because[-1:])
    for reason in reasons if everything else reasons[:_FEW_REASONS]:
        body.append("\n")
        body.append_text(_reason(reason))
    if everything:
        off = f", first off: {', '.join(suggestion.opens)}" if suggestion.opens else ""
        body.append(f"\na look takes {suggestion.minutes:g} min{off}. {suggestion.would_change}", style="dim")
    grid.add_row(str(suggestion.rank), percent(suggestion.probability), bar, body)
    console.print(grid)


def _reason(reason: Reason) -> Text:
    mark = "raises" if reason.weight > 0 else "lowers" if reason.weight < 0 else ""
    style = "green" if reason.weight > 0 else "red" if reason.weight < 0 else "dim"
    if not mark:
        return Text(reason.text, style="dim")
    return Text.assemble((f"{mark} ×{_factor(reason.weight)} ", style), reason.text)


def _factor(weight: float) -> str:
    """A log-odds share as the factor on the odds, upwards or downwards."""
    import math

    factor = math.exp(abs(weight))
    return f"{factor:.0f}" if factor >= 10 else f"{factor:.1f}"


def _step(console: Console, step: Step, leak_map: LeakMap, letters: dict[str, str]) -> None:
    body = Text()
    where = _where(leak_map, step.place, step.part, step.side) if step.place else step.name
    again = " again, after the repair" if step.stage == "verify" and step.place else ""
    if step.do == "test":
        what = f"{leak_map.name('method', step.method).capitalize()} test: {where}{again}"
    else:
        what = f"Look at {where}" if step.part else f"Look for {step.name}"
    body.append(what, style="bold")
    body.append(f"  {step.minutes:g} min", style="cyan")
    marks = [letters[c] for c in step.cautions if c in letters]
    if marks:
        body.append(f"  caution {' '.join(marks)}", style="yellow")
    if step.opens:
        body.append(f"\nfirst off: {', '.join(step.opens)} (minutes include taking off and putting back)")
    body.append(f"\n{step.because}")
    body.append(f"\n{step.would_change}", style="dim")
    grid = Table.grid(padding=(0, 1))
    grid.add_column(width=2, justify="right")
    grid.add_column()
    grid.add_row(f"{step.step}", body)
    console.print(grid)


def _letters(steps: Sequence[Step], always: Sequence[str]) -> dict[str, str]:
    """A letter for each caution of the steps shown, so that each is printed once."""
    texts = list(dict.fromkeys(c for step in steps for c in step.cautions if c not in always))
    return {text: chr(ord("a") + n % 26) for n, text in enumerate(texts)}


def _cautions(console: Console, letters: dict[str, str], always: Sequence[str]) -> None:
    if not letters and not always:
        return
    console.print()
    console.print(Text("Cautions", style="bold yellow"))
    for text in always:
        console.print(Text(f"   {text}"))
    for text, letter in letters.items():
        grid = Table.grid(padding=(0, 1))
        grid.add_column(width=2, justify="right", style="yellow")
        grid.add_column()
        grid.add_row(letter, text)
        console.print(grid)


def _aftercare(console: Console, advice: Advice) -> None:
    left = [a for a in advice.aftercare if not a.done_by]
    if not left:
        return
    console.print()
    console.print(Text("After the leak, until said done", style="bold"))
    for item in left:
        grid = Table.grid(padding=(0, 1))
        grid.add_column(width=2, justify="right")
        grid.add_column()
        grid.add_row("-", Text.assemble(item.text, (f" Why: {item.because}.", "dim")))
        console.print(grid)


def _unused(console: Console, unused: Sequence[Unused], everything: bool) -> None:
    if not unused:
        return
    console.print()
    console.print(Text("Not used", style="bold"))
    if everything:
        for item in unused:
            console.print(Padding(Text(f"{item.entry}: {item.why}", style="dim"), (0, 0, 0, 2)))
        return
    reasons: dict[str, int] = {}
    for item in unused:
        reasons[item.why] = reasons.get(item.why, 0) + 1
    for why, many in reasons.items():
        told = f"{many} {'entry' if many == 1 else 'entries'}: {why}"
        console.print(Padding(Text(told, style="dim"), (0, 0, 0, 2)))


def _where(leak_map: LeakMap, place: str, part: str | None, side: str | None) -> str:
    words = leak_map.name("place", place)
    if side in ("left", "right"):
        words = f"{side} {words}"
    if part:
        words = f"{words}, {leak_map.name('part', part)}"
    return f"{words} ({side})" if side in ("center", "both") else words


def percent(share: float) -> str:
    """A probability for reading: "43%", "<1%"."""
    return f"{100 * share:.0f}%" if share >= 0.01 else "<1%"


def show_changes(console: Console, rates: Rates | None, changes: Sequence[Change]) -> None:
    """How far cured jobs have moved the base rates."""
    console.width = min(console.width, LINE)
    if rates is None or not changes:
        console.print("No closed job has taught anything yet: only cured jobs do (repaired, and dry in the retest).")
        return
    many = rates.taught
    console.print(Text(f"Base rates after {many} cured job{'s' if many > 1 else ''} ({rates.id})", style="bold"))
    table = Table(box=None, pad_edge=False, header_style="dim")
    for name in ("source", "jobs", "map", "now"):
        table.add_column(name, justify="left" if name == "source" else "right")
    for change in changes:
        table.add_row(change.name, f"{change.jobs:g}", f"{100 * change.before:.2f}%", f"{100 * change.after:.2f}%")
    console.print(table)
    if rates.taken_back:
        console.print(f"Withdrawn, since the vehicle came back: {rates.taken_back}.")
