"""A file written whole or not at all, and never over anything else."""

import os
from pathlib import Path

import pytest

from refusal import refused
from wattsump_logger.errors import UsageError
from wattsump_logger.session.wholefile import write_whole

_PAGE = "<!doctype html><title>new</title>"


def test_a_file_appears_with_all_of_it_and_nothing_beside_it(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.html", _PAGE)
    assert (tmp_path / "a.html").read_text() == _PAGE
    assert [path.name for path in tmp_path.iterdir()] == ["a.html"]


@pytest.mark.parametrize(
    "valuable",
    [
        b"time_utc,elapsed_s,seq,tank_c,fault,mark\r\n",
        b"wattsump-wire-1\n",
        b"H1,0,0,emulated-1,1000,tank;max31855;K*1234\n",
        b'{\n  "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],\n',
        b'name = "Bracken"\n',
        b"x",
    ],
)
def test_what_is_of_another_kind_is_never_written_over(tmp_path: Path, valuable: bytes) -> None:
    path = tmp_path / "a"
    path.write_bytes(valuable)
    for content in (_PAGE, b"\x89PNG\r\n\x1a\n", '{\n  "format": "x"\n}\n'):
        with refused(UsageError, "a"):
            write_whole(path, content)
    assert path.read_bytes() == valuable
    assert [path.name for path in tmp_path.iterdir()] == ["a"]


def test_an_older_one_of_the_same_kind_and_an_empty_file_are_written_over(tmp_path: Path) -> None:
    path = tmp_path / "a.html"
    for before in ("<!doctype html><title>old</title>", ""):
        path.write_text(before)
        write_whole(path, _PAGE)
        assert path.read_text() == _PAGE


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("step", ["os.fsync", "pathlib.Path.replace"])
def test_the_older_one_stays_when_the_disk_takes_no_more(
    tmp_path: Path, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    path = tmp_path / "a.html"
    path.write_text("<!doctype html><title>old</title>")
    monkeypatch.setattr(step, full)
    with refused(UsageError, "a.html"):
        write_whole(path, _PAGE)
    assert "old" in path.read_text()
    assert [path.name for path in tmp_path.iterdir()] == ["a.html"]


def test_a_device_is_written_to_and_stays_a_device() -> None:
    write_whole(Path(os.devnull), _PAGE)
    assert Path(os.devnull).is_char_device()
    if Path("/dev/full").exists():
        with pytest.raises(UsageError, match="No space left on device"):
            write_whole(Path("/dev/full"), _PAGE)


@pytest.mark.skipif(os.name != "posix", reason="FIFOs are of POSIX")
def test_a_pipe_a_folder_and_an_impossible_name_are_refused_at_once(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path / "pipe", tmp_path, tmp_path / "no" / "a", tmp_path / ("x" * 300)):
        with pytest.raises(UsageError):
            write_whole(path, _PAGE)
    with pytest.raises(UsageError):
        write_whole(tmp_path / "a\0b", _PAGE)


@pytest.mark.skipif(os.name != "posix", reason="links are of POSIX")
def test_links_planted_where_a_draft_might_be_are_not_followed(tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_text("mine")
    for name in ("a.html.part", "a.html.new", ".part"):
        (tmp_path / name).symlink_to(victim)
    write_whole(tmp_path / "a.html", _PAGE)
    assert victim.read_text() == "mine"
