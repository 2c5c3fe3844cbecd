"""The checksum against its catalogue entry and against the standard library's."""

import binascii

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firmware.harness import Harness


def test_the_check_value_is_that_of_the_crc_catalogue(harness: Harness) -> None:
    # published: CRC RevEng catalogue, CRC-16/IBM-3740, check 0x29B1 for "123456789"; exact
    assert harness.order("crc " + b"123456789".hex()) == "29B1"


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(data=st.binary(max_size=600))
def test_any_bytes_give_what_the_standard_library_gives(harness: Harness, data: bytes) -> None:
    # independent: binascii.crc_hqx, another implementation of the same polynomial; exact
    assert harness.order("crc " + data.hex()) == f"{binascii.crc_hqx(data, 0xFFFF):04X}"
