"""What happens without the tools: a person is told, CI fails."""

import pytest

from firmware.harness import need


def test_a_missing_tool_is_a_reason_to_skip_on_a_persons_machine(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="needs avr-gcc"):
        need(("avr-gcc",))


def test_a_missing_tool_fails_in_ci(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="CI must have avr-gcc"):
        need(("avr-gcc",))


@pytest.mark.parametrize("ci", ["true", "false"])
def test_nothing_missing_is_no_reason_to_stop(monkeypatch: pytest.MonkeyPatch, ci: str) -> None:
    monkeypatch.setenv("CI", ci)
    assert need(()) is None  # type: ignore[func-returns-value]  # returning at all is the point
