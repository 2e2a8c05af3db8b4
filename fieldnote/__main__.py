"""``python -m fieldnote`` is the same as the ``fieldnote`` command."""

from fieldnote.cli.app import main

main()
