"""Fails when a test was skipped that tests/expected_skips.txt does not name. Usage: check_skips.py JUNIT.xml"""

from __future__ import annotations

import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path


def main(report: Path) -> int:
    """Print each unexpected skip with its reason; 1 if there is one."""
    expected = Path(__file__).with_name("expected_skips.txt").read_text(encoding="utf-8").splitlines()
    names = {line.split("#")[0].strip() for line in expected} - {""}
    faults = 0
    for case in ElementTree.parse(report).getroot().iter("testcase"):
        skipped = case.find("skipped")
        if skipped is None or skipped.get("type") == "pytest.xfail":
            continue
        name = f"{case.get('classname')}::{case.get('name')}"
        if not any(name.startswith(prefix) for prefix in names):
            print(f"unexpected skip: {name}: {skipped.get('message')}")
            faults += 1
    print(f"skips: {faults} unexpected")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
