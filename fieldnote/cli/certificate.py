"""``fieldnote certificate``: a certificate for this machine, so that phones reach the pages over https."""

from __future__ import annotations

import json
from typing import Annotated, Any, Optional

import typer

from fieldnote.cli.serve import page_library_missing, tell

TRUST = """\
Every phone or machine that is to open the pages must trust this once. It can
only ever vouch for the names and addresses above, and the key that signed it
is gone already.

  1. Start the pages:  fieldnote serve --host 0.0.0.0
  2. On the phone, open  https://{name}:8460/trust
     in its browser (Safari on an iPhone or iPad). It warns that it does not
     know this server: go on.
  3. Download the certificate there, and compare its fingerprint with the one
     above.
  4. Switch it on:
     iPhone, iPad  Settings, Profile Downloaded, Install. Then Settings,
                   General, About, Certificate Trust Settings.
     Android       Settings, search for "CA certificate", Install anyway,
                   choose the downloaded file.
     Windows       Open the file, Install, Current User, place it in Trusted
                   Root Certification Authorities.
     Mac           Open the file; in Keychain Access set it to Always Trust.
     Firefox       Settings, search for "certificates", View, Authorities,
                   Import.
  5. Close the page and open it anew: the warning is gone, and the microphone
     can be used.

When the machine's address changes, make another one and trust that: so give
the machine a fixed address, or use its name.
"""


def certificate(
    names: Annotated[
        Optional[list[str]],
        typer.Option("--for", metavar="NAME", help="A name or address of this machine; can be given several times."),
    ] = None,
    only: Annotated[bool, typer.Option("--only", help="Only what --for names, and nothing that is found.")] = False,
    days: Annotated[Optional[int], typer.Option(min=1, max=825, help="How long it holds; 800 unless said.")] = None,
    show: Annotated[bool, typer.Option("--show", help="Make nothing; show what is there.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Make a certificate for this machine, so that phones can open the pages and use their microphone.

    It holds for the names and addresses under which this machine is found in
    the shop's network, and for nothing else. What was made before holds no
    more, and phones must trust the new one.

    Examples:

      fieldnote certificate

      fieldnote certificate --for shop-pc.local --for 192.168.1.20

      fieldnote certificate --show
    """
    try:
        from fieldnote.web.certificates import DAYS, Pair, fingerprint_of, make, own_names, read
    except ModuleNotFoundError as error:
        raise page_library_missing(error, "certificate") from error
    from fieldnote.errors import UserMistake
    from fieldnote.resources import data_home

    home = data_home()
    if only and not names:
        raise UserMistake("nothing is named", where="--only", do="Name something with --for.")
    try:
        if show:
            pair = Pair.of(home)
            held = read(pair)
        else:
            wanted = dict.fromkeys([*(names or []), *([] if only else own_names())])
            pair, held = make(home, list(wanted), days=days or DAYS)
    except ModuleNotFoundError as error:
        raise page_library_missing(error, "certificate") from error
    assert pair.authority is not None
    fingerprint = fingerprint_of(pair.authority.read_bytes())
    if as_json:
        told: dict[str, Any] = {
            "names": list(held.names),
            "until": held.until.isoformat(),
            "authority": str(pair.authority),
            "certificate": str(pair.certificate),
            "key": str(pair.key),
            "fingerprint_sha256": fingerprint,
        }
        print(json.dumps(told, indent=2))
        return
    print(f"Holds for      {', '.join(held.names)}")
    print(f"Until          {held.until:%-d %b %Y}")
    print(f"To be trusted  {pair.authority}")
    print(f"Fingerprint    {fingerprint[:47]}\n               {fingerprint[48:]}\n")
    tell(TRUST.format(name=held.names[0]).rstrip())


__all__ = ["certificate"]
