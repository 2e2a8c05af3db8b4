"""Whole write-ups, compared word by word with those kept."""

import pytest

from .golden import CASES, FOLDER, written


@pytest.mark.parametrize("case", CASES)
def test_the_write_up_is_the_one_kept(case: str) -> None:
    """Each case gives the write-up that was read and kept (``python -m tests.narrate.golden`` writes them anew)."""
    assert written(case) == (FOLDER / case / "narrative.md").read_text(encoding="utf-8")


def test_there_are_cases() -> None:
    """The folder of cases is found from wherever the tests are run."""
    assert len(CASES) >= 8
