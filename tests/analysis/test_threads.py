"""Linear algebra on one thread, unless somebody asked otherwise."""

import os

import pytest

from wattsump_analysis import threads


def test_one_thread_is_asked_for_where_nothing_was_said(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in threads.NAMES:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv(threads.NAMES[0], "3")
    threads.one_by_default()
    assert [os.environ[name] for name in threads.NAMES] == ["3", "1", "1"]
