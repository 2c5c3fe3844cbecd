"""Reset flags to the detail of the boot event."""

import pytest

from firmware.harness import Harness


# published: ATmega328P data sheet, MCU status register: PORF 1, EXTRF 2, BORF 4, WDRF 8; exact
@pytest.mark.parametrize(
    ("flags", "cause"),
    [
        (0x01, "power"),
        (0x02, "external"),
        (0x04, "brownout"),
        (0x08, "watchdog"),
        (0x07, "power"),
        (0x06, "brownout"),
        (0x00, "unknown"),
    ],
)
def test_the_reset_flags_name_the_cause(harness: Harness, flags: int, cause: str) -> None:
    assert harness.order(f"cause {flags}") == cause


def test_every_pattern_of_flags_gives_a_detail_of_the_protocol(harness: Harness) -> None:
    details = {harness.order(f"cause {flags}") for flags in range(256)}
    assert details == {"power", "external", "brownout", "watchdog", "unknown"}
