"""Builds the wheel, installs it alone into an empty environment, and runs the main job from another folder.

Takes about a minute; part of the checks before a change lands, not of the test suite.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import venv
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def run(*command: str, cwd: Path, home: Path) -> str:
    """Run a command without our repository on its path; stop at the first failure."""
    environment = {
        "PATH": os.environ["PATH"],
        "HOME": str(home),
        "FIELDNOTE_HOME": str(home / "data"),
        "LANG": "C.UTF-8",
    }
    for kept in ("PIP_INDEX_URL", "PIP_CONFIG_FILE", "PIP_CACHE_DIR", "SSL_CERT_FILE"):
        if kept in os.environ:
            environment[kept] = os.environ[kept]
    done = subprocess.run(command, cwd=cwd, env=environment, text=True, capture_output=True)
    if done.returncode:
        sys.exit(f"{' '.join(command)}\n{done.stdout}\n{done.stderr}")
    return done.stdout


def main() -> None:
    """Build, install, run."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        subprocess.run(
            [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(folder / "dist"), str(ROOT)], check=True
        )
        (wheel,) = (folder / "dist").glob("fieldnote-*.whl")
        venv.create(folder / "env", with_pip=True)
        python = str(folder / "env/bin/python")
        lock = str(ROOT / "requirements.lock")
        run(python, "-m", "pip", "install", "-q", "--require-hashes", "-r", lock, cwd=folder, home=folder)
        run(python, "-m", "pip", "install", "-q", "--no-deps", str(wheel), cwd=folder, home=folder)
        command = str(folder / "env/bin/fieldnote")
        run(command, "vocab", "check", cwd=folder, home=folder)
        run(command, "models", "verify", cwd=folder, home=folder)
        run(command, "demo", cwd=folder, home=folder)
        made = sorted(path.name for path in (folder / "demo-out").iterdir())
        if not {"write-up.md", "write-up.html", "write-up.json"} <= set(made):
            sys.exit(f"the demo from the wheel wrote only {made}")
        print(f"wheel: {wheel.stat().st_size / 1e6:.1f} MB, vocabulary, model and demo run from it")


if __name__ == "__main__":
    main()
