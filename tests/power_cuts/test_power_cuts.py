"""A power cut at any step costs at most the seconds that are promised, and invents nothing."""

import sys
from pathlib import Path

import pytest

from power_cuts.model import tried
from wattsump_logger.session.appendfile import SYNC_S


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="files are found by /proc")
def test_cut_at_any_step_rows_are_true_and_young_ones_only_are_missing() -> None:
    assert Path("/proc/self/fd").exists()
    result = tried(12)
    assert result.wrong == []
    assert result.cuts > 100
    assert result.sessions > result.cuts / 2
    assert result.oldest_missing_s <= SYNC_S
