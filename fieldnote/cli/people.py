"""``fieldnote people``: who may sign in to the pages, and as what."""

from __future__ import annotations

import json
import sys
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape

from fieldnote.cli.serve import PORT, page_library_missing
from fieldnote.errors import NotFound, UserMistake

if TYPE_CHECKING:
    from fieldnote.web.people import Known, People

app = typer.Typer(
    name="people",
    help="Who may sign in to the pages where they are served on a network: invite, list, roles, sign out, remove.",
    no_args_is_help=True,
)

Name = Annotated[str, typer.Argument(metavar="NAME", help="The person's name.")]
As = Annotated[
    list[str],
    typer.Option("--as", metavar="ROLE", help="technician, clerk or lead; can be given several times."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]


@app.command()
def invite(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The name under which their changes are kept.")],
    roles: As,
    code_only: Annotated[bool, typer.Option("--no-picture", help="Leave the QR code out.")] = False,
    as_json: AsJson = False,
) -> None:
    """Invite somebody: prints a code with which they choose a passphrase. It holds once, and for two days.

    Somebody who is known already gets the roles given, and can take a new
    passphrase: so a forgotten one is replaced.

    Examples:

      fieldnote people invite "Rosa" --as technician

      fieldnote people invite "Ira" --as clerk --as lead
    """
    people = _people()
    code = people.invite(name, roles)
    until = next(one.invited_until for one in people.all() if one.person.name == people.find(name).name)
    url = people.address or _address_to_be()
    link = f"{url}/join?code={code}"
    if as_json:
        print(json.dumps({"name": name, "roles": roles, "code": code, "until": _iso(until), "link": link}, indent=2))
        return
    print(f"Code   {code}")
    print(f"Until  {_when(until)}")
    print(f"Link   {link}")
    if not code_only and sys.stdout.isatty():
        import segno

        print()
        segno.make(link, error="m").terminal(compact=True)
    print("\nGive it to nobody else: whoever has it signs in under this name.", file=sys.stderr)


@app.command("list")
def list_all(as_json: AsJson = False) -> None:
    """Everybody who may sign in: roles, whether they took up their invitation, where they are signed in.

    Examples:

      fieldnote people list

      fieldnote people list --json
    """
    known = _people().all()
    if as_json:
        print(json.dumps([_wire(one) for one in known], indent=2))
        return
    if not known:
        print('Nobody yet. Invite somebody: fieldnote people invite "NAME" --as technician')
        return
    from rich.table import Table

    from fieldnote.web.roles import role_names

    table = Table(box=None, pad_edge=False)
    for head in ("Name", "Roles", "Signed in", "Invitation"):
        table.add_column(head)
    for one in known:
        places = ", ".join(f"{s.device} ({_when(s.seen_at)})" for s in one.sessions)
        table.add_row(
            escape(one.person.name),
            ", ".join(role_names(one.person.roles)),
            escape(places) or ("no" if one.joined else "never yet"),
            f"until {_when(one.invited_until)}" if one.invited_until else "taken up",
        )
    Console(width=None if sys.stdout.isatty() else 200).print(table)


@app.command()
def roles(name: Name, given: As) -> None:
    """Give somebody these roles and no others, from their next page on.

    Examples:

      fieldnote people roles "Rosa" --as technician --as lead
    """
    from fieldnote.web.roles import role_names

    person = _people().give_roles(name, given)
    print(f"{person.name}: {', '.join(role_names(person.roles))}")


@app.command()
def rename(name: Name, new: Annotated[str, typer.Argument(metavar="NEW", help="The new name.")]) -> None:
    """Give somebody another name. What was kept under the old one stays under it.

    Examples:

      fieldnote people rename "Rosa" "Rosa M."
    """
    print(f"Now called {_people().rename(name, new).name}.")


@app.command("sign-out")
def sign_out(name: Name) -> None:
    """Sign somebody out on every device, as when a phone was lost.

    Examples:

      fieldnote people sign-out "Rosa"
    """
    people = _people()
    person = people.find(name)
    many = people.end_all(person)
    print(f"{person.name} is signed out on {many} device{'' if many == 1 else 's'}.")


@app.command()
def remove(name: Name) -> None:
    """Let somebody sign in no more; they are signed out at once. What they did stays under their name.

    Examples:

      fieldnote people remove "Rosa"
    """
    print(f"{_people().remove(name).name} can sign in no more.")


def _people() -> People:
    try:
        from fieldnote.web.people import People
    except ModuleNotFoundError as error:
        raise page_library_missing(error, "people") from error
    from fieldnote.resources import data_home
    from fieldnote.settings import load_settings

    return People(data_home(), load_settings().sign_in)


def _address_to_be() -> str:
    """Where the pages will be found, as far as the certificate tells."""
    from fieldnote.cli.serve import bracketed
    from fieldnote.resources import data_home
    from fieldnote.web.certificates import Pair, read

    try:
        name = read(Pair.of(data_home())).names[0]
    except (NotFound, UserMistake):
        name = "THIS-MACHINE"
    return f"https://{bracketed(name)}:{PORT}"


def _wire(one: Known) -> dict[str, Any]:
    from fieldnote.web.roles import role_names

    return {
        "name": one.person.name,
        "roles": role_names(one.person.roles),
        "joined": one.joined,
        "invited_until": _iso(one.invited_until),
        "signed_in": [{"device": s.device, "since": _iso(s.began_at), "used": _iso(s.seen_at)} for s in one.sessions],
    }


def _iso(seconds: float | None) -> str | None:
    return None if seconds is None else datetime.fromtimestamp(seconds).astimezone().isoformat(timespec="seconds")


def _when(seconds: float | None) -> str:
    return "" if seconds is None else datetime.fromtimestamp(seconds).strftime("%-d %b %Y, %H:%M")


__all__ = ["app"]
