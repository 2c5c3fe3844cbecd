"""The notebook beside the sessions: what is known again, what is not, and what breaks it."""

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.codes import codes
from analysis.few_outings import outing
from wattsump_analysis.season.store import (
    FILE_NAME,
    Entry,
    Store,
    content_key,
    method_version,
    row_digest,
    sessions_in,
)
from wattsump_logger.remark import Remark

LONG_AGO_S = 1_700_000_000
KNOWN = Entry(outing=outing(1, 90.0, 3000.0))


def file(folder: Path, name: str = "day.csv", text: str = "some readings") -> Path:
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    os.utime(path, (LONG_AGO_S, LONG_AGO_S))
    return path


def store(folder: Path, **more: str) -> Store:
    return Store(folder, clock=lambda: LONG_AGO_S + 3600.0, **({"method": "m"} | more))


def test_what_was_kept_is_known_in_the_next_run(tmp_path: Path) -> None:
    path = file(tmp_path)
    with store(tmp_path) as first:
        assert first.stored(path) is None
        first.keep(first.key(path), KNOWN)
    with store(tmp_path) as second:
        found = second.stored(path)
    assert found is not None
    assert found.outing is not None
    assert KNOWN.outing is not None
    assert found.outing.k_w_k == KNOWN.outing.k_w_k
    assert found.outing.name == "day"


def test_a_renamed_and_a_copied_file_are_known_under_their_new_names(tmp_path: Path) -> None:
    path = file(tmp_path)
    with store(tmp_path) as kept:
        kept.keep(kept.key(path), KNOWN)
        path.rename(tmp_path / "other.csv")
        copy = file(tmp_path, "sub/copy.csv")
        names = []
        for one in (tmp_path / "other.csv", copy):
            entry = kept.stored(one)
            assert entry is not None
            assert entry.outing is not None
            names.append(entry.outing.name)
    assert names == ["other", "copy"]


@pytest.mark.parametrize("what", ["session", "sidecar", "method", "profile"])
def test_whatever_an_outing_rests_on_makes_it_new_when_changed(tmp_path: Path, what: str) -> None:
    path = file(tmp_path)
    with store(tmp_path) as kept:
        kept.keep(kept.key(path), KNOWN)
    if what == "session":
        file(tmp_path, text="readings, and more of them")
    if what == "sidecar":
        file(tmp_path, "day.csv-metadata.json", "{}")
    with store(
        tmp_path,
        method="n" if what == "method" else "m",
        profile_text="name = 'x'" if what == "profile" else "",
    ) as again:
        assert again.stored(path) is None


def test_a_file_changed_moments_ago_is_read_again_even_if_its_time_stands_still(
    tmp_path: Path,
) -> None:
    path = file(tmp_path, text="12345")
    with Store(tmp_path, method="m", clock=lambda: LONG_AGO_S + 1.0) as fresh:
        first = fresh.key(path)
        file(tmp_path, text="54321")
        assert fresh.key(path) != first


def test_an_unchanged_file_is_not_read_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = file(tmp_path)
    with store(tmp_path) as kept:
        key = kept.key(path)
    monkeypatch.setattr("wattsump_analysis.season.store.content_key", None)
    with store(tmp_path) as again:
        assert again.key(path) == key


def test_a_foreign_file_is_remembered_as_such(tmp_path: Path) -> None:
    path = file(tmp_path)
    with store(tmp_path) as kept:
        foreign = Entry(outing=None, why=Remark(code="session-refused", text="no session"))
        kept.keep(kept.key(path), foreign)
        assert kept.stored(path) == foreign


@pytest.mark.parametrize("damage", [b"not a database at all, only text" * 40, b"SQLite format 3\0"])
def test_a_damaged_notebook_is_put_aside_and_made_again(tmp_path: Path, damage: bytes) -> None:
    path = file(tmp_path)
    (tmp_path / FILE_NAME).write_bytes(damage)
    with store(tmp_path) as made:
        assert made.stored(path) is None
        made.keep(made.key(path), KNOWN)
        assert made.stored(path) is not None
        assert codes(made.notes) == ["results-damaged"]
    assert (tmp_path / f"{FILE_NAME}.damaged").read_bytes() == damage


def test_a_half_synchronised_notebook_is_noticed(tmp_path: Path) -> None:
    path = file(tmp_path)
    with store(tmp_path) as kept:
        for number in range(200):
            kept.keep(f"{number}", KNOWN)
    whole = (tmp_path / FILE_NAME).read_bytes()
    (tmp_path / FILE_NAME).write_bytes(whole[: len(whole) // 2 // 4096 * 4096])
    with store(tmp_path) as made:
        assert made.notes
        assert made.stored(path) is None


def test_where_nothing_can_be_kept_the_work_still_goes_on(tmp_path: Path) -> None:
    path = file(tmp_path)
    (tmp_path / FILE_NAME).mkdir()
    with store(tmp_path) as kept:
        kept.keep(kept.key(path), KNOWN)
        assert kept.stored(path) is not None
        assert codes(kept.notes) == ["results-not-kept"]


def test_an_entry_of_an_older_layout_of_an_outing_is_worked_out_anew(tmp_path: Path) -> None:
    path = file(tmp_path)
    with store(tmp_path) as kept:
        key = kept.key(path)
    with sqlite3.connect(tmp_path / FILE_NAME) as database:
        row = (key, "m", '{"name": "old"}', None)
        database.execute("INSERT INTO result VALUES (?, ?, ?, ?, ?)", (*row, row_digest(*row)))
    database.close()
    with store(tmp_path) as again:
        assert again.stored(path) is None


def test_a_notebook_of_another_layout_is_emptied(tmp_path: Path) -> None:
    database = sqlite3.connect(tmp_path / FILE_NAME)
    database.execute("CREATE TABLE seen (other)")
    database.execute("PRAGMA user_version = 99")
    database.commit()
    database.close()
    path = file(tmp_path)
    with store(tmp_path) as made:
        made.keep(made.key(path), KNOWN)
        assert made.stored(path) is not None


WRITER = """
import sys
from pathlib import Path
from wattsump_analysis.season.store import Entry, Store
from wattsump_logger.remark import Remark
folder, who = Path(sys.argv[1]), sys.argv[2]
with Store(folder, method="m") as store:
    for number in range(100):
        store.keep(f"{who}-{number}", Entry(outing=None, why=Remark(code="any", text=who)))
        store.keep(f"both-{number}", Entry(outing=None, why=Remark(code="any", text="same")))
    print(len(store.notes))
"""


def test_two_processes_that_write_at_once_lose_nothing(tmp_path: Path) -> None:
    both = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path), who],
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
        )
        for who in ("a", "b")
    ]
    assert [process.communicate()[0].strip() for process in both] == ["0", "0"]
    database = sqlite3.connect(tmp_path / FILE_NAME)
    (count,) = database.execute("SELECT count(*) FROM result").fetchone()
    database.close()
    assert count == 300


def test_hidden_and_half_synchronised_files_are_no_sessions(tmp_path: Path) -> None:
    names = ("a.csv", "sub/b.csv", ".hidden/c.csv", ".d.csv", "e.sync-conflict-1.csv", "f.txt")
    for name in names:
        file(tmp_path, name)
    file(tmp_path, "g (conflicted copy).csv")
    (tmp_path / "folder.csv").mkdir()
    assert [p.name for p in sessions_in(tmp_path)] == ["a.csv", "b.csv"]


def test_the_key_is_that_of_session_sidecar_and_profile(tmp_path: Path) -> None:
    path = file(tmp_path)
    bare = content_key(path)
    assert content_key(file(tmp_path, "copy.csv")) == bare
    assert content_key(path, "a profile") != bare
    file(tmp_path, "day.csv-metadata.json", "{}")
    assert content_key(path) != bare


def test_the_methods_version_is_its_source(monkeypatch: pytest.MonkeyPatch) -> None:
    here = method_version()
    assert method_version() == here
    method_version.cache_clear()
    read = Path.read_bytes

    def changed(self: Path) -> bytes:
        return read(self) + (b"#" if self.name == "fit.py" else b"")

    monkeypatch.setattr(Path, "read_bytes", changed)
    assert method_version() != here
    method_version.cache_clear()

    def shown(self: Path) -> bytes:
        return read(self) + (b"#" if self.name == "season_screen.py" else b"")

    monkeypatch.setattr(Path, "read_bytes", shown)
    assert method_version() == here
    method_version.cache_clear()


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE result SET outing = replace(outing, '90.0', '45.0')",
        "UPDATE result SET outing = x'ff'",
        "UPDATE result SET outing = 7",
        "UPDATE result SET outing = '[[]]', digest = NULL",
        "UPDATE result SET outing = NULL, why = '{'",
        "UPDATE seen SET key = 'another'",
    ],
)
def test_a_row_that_is_not_as_it_was_kept_is_worked_out_anew(tmp_path: Path, change: str) -> None:
    path = file(tmp_path)
    with store(tmp_path) as first:
        first.keep(first.key(path), KNOWN)
        right = first.key(path)
    with sqlite3.connect(tmp_path / FILE_NAME) as database:
        database.execute(change)
    database.close()
    with store(tmp_path) as second:
        assert second.key(path) == right
        found = second.stored(path)
    # The last of the changes is not to the result, which stays as good as it was.
    assert (found is None) is not change.startswith("UPDATE seen")


def test_a_notebook_that_is_a_link_is_not_followed(tmp_path: Path) -> None:
    victim = tmp_path / "victim"
    victim.write_text("mine")
    folder = tmp_path / "season"
    folder.mkdir()
    (folder / FILE_NAME).symlink_to(victim)
    path = file(folder)
    with store(folder) as linked:
        linked.keep(linked.key(path), KNOWN)
        assert codes(linked.notes) == ["results-not-kept"]
    assert victim.read_text() == "mine"
