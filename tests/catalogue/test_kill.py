"""Killed at any moment: a few kills here, a thousand in the bench."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.bench.catalogue_kill import kill_forks


@pytest.mark.skipif(not hasattr(os, "fork"), reason="this system can't fork")
def test_killed_while_adding_nothing_is_lost(tmp_path: Path) -> None:
    confirmed, losses = kill_forks(tmp_path / "yard.sqlite", 16, seed=3)
    assert losses == []
    assert confirmed > 0
