"""The field guide as one HTML file, a leaf a printed page."""

from __future__ import annotations

from collections.abc import Sequence

from fieldnote.narrate.field_guide import RULE, Leaf, Opening
from fieldnote.narrate.page import environment, style
from fieldnote.narrate.phrases import number, series
from fieldnote.narrate.sketch import Mark, Sketch, svg

CAPTION = "Front to the left. Drop: water shows here. Diamond: where it may come in, by number."


def guide_html(leaves: Sequence[Leaf], sketch: Sketch | None, *, taught: str = "") -> str:
    """The leaves as an HTML page. ``taught`` says what the base rates come from besides the map."""
    from markupsafe import Markup

    drawings = {
        leaf.place: Markup(svg(sketch, marks_of_leaf(leaf), title=described(leaf))) if sketch else "" for leaf in leaves
    }
    page: str = (
        environment()
        .get_template("guide.html.j2")
        .render(
            leaves=leaves,
            style=style(),
            rule=RULE,
            taught=taught,
            drawings=drawings,
            minutes=minutes,
            openings=openings,
            share=share,
            caption=CAPTION,
        )
    )
    return page


def marks_of_leaf(leaf: Leaf) -> tuple[Mark, ...]:
    """Both ends: a drop where water shows, a numbered diamond at each place where it may come in.

    On the drawing water shows on the left, and so do sources of the same side.
    """
    out = [Mark("showed", leaf.place, "left")]
    for place in leaf.places:
        numbers = [i for i, c in enumerate(leaf.candidates, 1) if c.place == place]
        label = str(numbers[0]) if len(numbers) == 1 else f"{numbers[0]}+"
        out.append(Mark("entry", place, "left", label))
    return tuple(out)


def described(leaf: Leaf) -> str:
    """The drawing in words, for who cannot see it."""
    ways = [f"{i} {c.where}" for i, c in enumerate(leaf.candidates, 1)]
    return f"Vehicle from the left and from above. Water shows at the {leaf.title}; it may come in at {series(ways)}."


def minutes(value: float) -> str:
    """Minutes as on a leaf."""
    return f"{number(round(value, 1))} min"


def openings(opens: Sequence[Opening]) -> str:
    """What must come off, with the minutes for both ways."""
    return series([f"{o.name} ({minutes(o.off_min)} off, {number(round(o.on_min, 1))} back)" for o in opens])


def share(value: float) -> str:
    """A share in words."""
    hundredth = round(value * 100)
    return f"about {hundredth} in 100" if hundredth >= 1 else "below 1 in 100"


__all__ = ["CAPTION", "described", "guide_html", "marks_of_leaf", "minutes", "openings", "share"]
