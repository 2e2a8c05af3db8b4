"""Who may do what on the pages: three roles, and rights that a shop gives to them in its settings (``[roles]``).

For a route::

    @router.post("/sign-off", dependencies=[needs("sign off")])

Within one, and in a template (where ``may`` is given to every page)::

    if may(request, "play sound"): ...
    {% if may("play sound") %} ... {% endif %}

``request`` may be a WebSocket too. Served to this machine alone, without a sign-in, everything is granted. With a
sign-in, whoever has no role with the right is refused with 403; whoever is not signed in sees no page at all
(``sign_in.py``). A person may have several roles. What the signed-in person is called: ``person_of(request)``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any, Literal, get_args

from fastapi import Depends
from starlette.requests import HTTPConnection

from fieldnote.errors import BadData, UserMistake
from fieldnote.settings import RoleSettings

Role = Literal["technician", "clerk", "lead"]
ROLES: tuple[Role, ...] = get_args(Role)
Right = Literal[
    "dictate",  # open a job, talk, write, send recordings and photos, accept a handover
    "correct",  # change what is kept: entries, intake, taking changes back, closing and opening again
    "play sound",
    "sign off",
    "claim",  # what a payer wants to know: fill in, mark as paid or returned
    "take documents",  # the write-up as a file
    "take names and sound",  # the same with what is personal: names of people, sound, where photos were taken
    "delete sound",
    "change words",  # see what was not understood, and change the vocabulary
    "see patterns",
]
RIGHTS: tuple[Right, ...] = get_args(Right)


class NotAllowed(UserMistake):
    """The person's roles do not give this right (403)."""


@dataclass(frozen=True, slots=True)
class Person:
    """Someone who may sign in. ``id`` never changes; ``name`` is what changes are kept under."""

    id: str
    name: str
    roles: frozenset[str]


def person_of(request: HTTPConnection) -> Person | None:
    """Who is signed in; None where no sign-in is asked for, or nobody is signed in."""
    found = getattr(request.state, "person", None)
    return found if isinstance(found, Person) else None


def may(request: HTTPConnection, right: Right) -> bool:
    """Whether who asks has the right; everybody has every right where no sign-in is asked for."""
    if request.app.state.sign_in is None:
        return True
    person = person_of(request)
    return person is not None and not person.roles.isdisjoint(request.app.state.sign_in.rights[right])


def needs(right: Right) -> Any:
    """A dependency that lets a request through only with the right.

    Raises (in the request):
        NotAllowed: who asks does not have it.

    """
    assert right in RIGHTS, right

    def check(request: HTTPConnection) -> None:
        if not may(request, right):
            raise refusal(request, right)

    check.right = right  # type: ignore[attr-defined]
    return Depends(check)


def refusal(request: HTTPConnection, right: Right) -> NotAllowed:
    """What is told to whoever lacks a right."""
    has = " and ".join(role_names(request.app.state.sign_in.rights[right])) or "nobody"
    return NotAllowed(
        f"your sign-in does not allow this ({right})",
        where=f"It is for: {has}",
        do="Ask whoever looks after this server.",
    )


def role_names(roles: Iterable[str]) -> list[str]:
    """Roles in the order in which they are always named."""
    return [role for role in ROLES if role in set(roles)]


def rights_of(settings: RoleSettings) -> dict[Right, frozenset[str]]:
    """Which roles give each right.

    Raises:
        BadData: a setting names a role that there is not.

    """
    found: dict[Right, frozenset[str]] = {}
    for field in fields(settings):
        named = frozenset(str(getattr(settings, field.name)).replace(",", " ").split())
        if not named <= set(ROLES):
            raise BadData(
                f"unknown role {min(named - set(ROLES))!r}",
                where=f"settings, roles.{field.name}",
                do=f"Roles are: {', '.join(ROLES)}.",
            )
        found[field.name.replace("_", " ")] = named  # type: ignore[index]
    return found


__all__ = [
    "RIGHTS",
    "ROLES",
    "NotAllowed",
    "Person",
    "Right",
    "Role",
    "may",
    "needs",
    "person_of",
    "refusal",
    "rights_of",
    "role_names",
]
