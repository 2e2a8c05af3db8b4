"""Turns an error of the tree into what the command line shows: one line, or JSON, on standard error."""

from __future__ import annotations

import json
import sys

from fieldnote.errors import FieldnoteError, PackFault


def report(error: FieldnoteError, *, as_json: bool) -> int:
    """Print ``error`` on standard error and return the exit code."""
    if as_json:
        body: dict[str, object] = {"what": error.what, "where": error.where, "do": error.do}
        if isinstance(error, PackFault) and error.faults:
            body["faults"] = [str(fault) for fault in error.faults]
        print(json.dumps({"error": body}, ensure_ascii=False), file=sys.stderr)
        return error.exit_code
    print(f"fieldnote: {error}", file=sys.stderr)
    if isinstance(error, PackFault):
        for fault in error.faults:
            print(f"  {fault}", file=sys.stderr)
    return error.exit_code
