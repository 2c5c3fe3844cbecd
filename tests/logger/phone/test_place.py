"""Where the page is served, its token, and the code that tells a phone both."""

import stat
from pathlib import Path

import numpy as np
import pytest
import zxingcpp

from refusal import refused
from wattsump_logger.errors import UsageError
from wattsump_logger.phone.place import PORT, Place, place_of, poster

DARK = {" ": (1, 1), "▄": (1, 0), "▀": (0, 1), "█": (0, 0)}


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("10.42.0.1", f"10.42.0.1:{PORT}"),
        ("10.42.0.1:8080", "10.42.0.1:8080"),
        ("[fe80::1]:8080", "[fe80::1]:8080"),
    ],
)
def test_an_address_is_named_with_or_without_a_port(tmp_path: Path, typed: str, name: str) -> None:
    place = place_of(typed, tmp_path)
    assert place.name == name
    assert place.url == f"http://{name}/#{place.token}"


@pytest.mark.parametrize(
    "typed",
    ["0.0.0.0", "[::]:80", "", ":8080", "tractor.local", "10.42.0.1:0", "10.42.0.1:99999",
     "10.42.0.1:80/x", "user@10.42.0.1"],
)  # fmt: skip
def test_anything_but_one_address_of_this_computer_is_refused(tmp_path: Path, typed: str) -> None:
    with refused(UsageError, "--phone"):
        place_of(typed, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_phone_that_scanned_once_goes_on_after_a_restart_and_nobody_else_reads_the_token(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "outings"
    first = place_of("10.42.0.1", folder)
    assert place_of("10.42.0.1", folder) == first
    (kept,) = folder.iterdir()
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600
    assert place_of("10.42.0.1", tmp_path / "elsewhere").token != first.token


def test_a_spoilt_token_is_replaced_and_a_folder_that_takes_none_is_no_trouble(
    tmp_path: Path,
) -> None:
    (tmp_path / "phone-token").write_text("short")
    assert len(place_of("10.42.0.1", tmp_path).token) == 16
    file = tmp_path / "file"
    file.write_text("")
    assert len(place_of("10.42.0.1", file / "under").token) == 16


def test_the_code_on_a_dark_terminal_is_read_by_a_reader_of_other_hands() -> None:
    place = Place(host="192.168.100.100", port=8472, token="aB3_" * 4)
    *code, url = poster(place)
    assert url == place.url
    assert len(code) <= 17  # with the address, a terminal of 24 lines has room for it
    rows = [[DARK[char][half] for char in line] for line in code for half in (0, 1)]
    ink = np.kron(255 * (1 - np.array(rows)), np.ones((8, 8))).astype(np.uint8)
    (read,) = zxingcpp.read_barcodes(ink)
    assert read.text == place.url
