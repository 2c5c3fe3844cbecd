"""The link: a port kept open, with growing pauses, whatever happens to it."""

import termios
import threading

import pytest

from wattsump_logger.capture.clock import Anchor
from wattsump_logger.capture.link import PAUSES_S, Link, OpenedFirst
from wattsump_logger.capture.wirefile import MAX_CHUNK, Chunk, HostNote, WireItem
from wattsump_logger.errors import PortError


def gone() -> PortError:
    return PortError(expected="bytes", found="the port is gone", where="x", do="check the plug")


class Clock:
    """A clock that stands still."""

    def anchor(self) -> Anchor:
        return Anchor(utc_ms=None, mono_ms=5)


class Source:
    """A port that gives, in turn, what it is told to; an error is raised."""

    name = "fake"

    def __init__(self, *says: bytes | Exception | None, opens: tuple[bool, ...] = ()) -> None:
        self.says = list(says)
        self.opens = list(opens)
        self.closed = 0

    def open(self) -> "Source":
        if self.opens and not self.opens.pop(0):
            raise gone()
        return self

    def read(self, timeout_s: float) -> bytes | None:
        said = self.says.pop(0) if self.says else None
        if isinstance(said, Exception):
            raise said
        return said

    def close(self) -> None:
        self.closed += 1


def all_of(link: Link) -> list[WireItem]:
    """Return all items until nothing more will come."""
    items: list[WireItem] = []
    for _ in range(1000):
        items += link.next(0.05)
        if link.is_over:
            return items + link.close()
    pytest.fail("the link never ended")


def shortened(items: list[WireItem]) -> list[bytes | str]:
    return [item.data if isinstance(item, Chunk) else item.word for item in items]


def test_bytes_come_out_in_order_with_their_time() -> None:
    items = all_of(Link(Source(b"one", b"", b"two"), Clock()))
    assert shortened(items) == ["opened", b"one", b"two"]
    assert all(item.anchor == Clock().anchor() for item in items)


def test_a_port_that_cannot_be_opened_at_the_start_is_an_error() -> None:
    with pytest.raises(PortError):
        Link(Source(opens=(False,)), Clock())


def test_a_lost_port_is_opened_again_as_often_as_it_takes() -> None:
    source = Source(b"one", gone(), b"two", opens=(True, False, False, False, True))
    items = all_of(Link(source, Clock(), pauses_s=(0.001,)))
    assert shortened(items) == ["opened", b"one", "lost", "opened", b"two"]
    assert source.closed == 2


@pytest.mark.parametrize(
    "error",
    [termios.error(5, "Input/output error"), ValueError("no"), AttributeError("no"), MemoryError()],
)
def test_whatever_a_port_raises_it_is_lost_and_opened_again(error: Exception) -> None:
    source = Source(b"one", error, b"two")
    items = all_of(Link(source, Clock(), pauses_s=(0.001,)))
    assert shortened(items) == ["opened", b"one", "lost", "opened", b"two"]


def test_whatever_opening_and_closing_raise_it_is_tried_again() -> None:
    class Stubborn(Source):
        tries = 0

        def open(self) -> "Source":
            self.tries += 1
            if 1 < self.tries < 5:
                raise termios.error(5, "Input/output error")
            return self

        def close(self) -> None:
            raise termios.error(5, "Input/output error")

    items = all_of(Link(Stubborn(b"one", gone(), b"two"), Clock(), pauses_s=(0.001,)))
    assert shortened(items) == ["opened", b"one", "lost", "opened", b"two"]


def test_a_port_that_opens_and_gives_nothing_but_errors_is_tried_with_growing_pauses() -> None:
    waited: list[float] = []

    class Recorded(threading.Event):
        def wait(self, timeout: float | None = None) -> bool:
            waited.append(timeout or 0.0)
            return len(waited) > 6

        def is_set(self) -> bool:
            return len(waited) > 6

    link = Link(Source(), Clock(), pauses_s=PAUSES_S)
    link.close()
    link._source = Source(*(gone() for _ in range(20)))
    link._stop, link._pauses, link._port, link.ended = Recorded(), link._growing(), None, False
    link._run()
    assert waited == [*PAUSES_S, PAUSES_S[-1], PAUSES_S[-1]]


def test_a_reader_that_died_is_no_port_that_ended() -> None:
    class Deadly(Source):
        def read(self, timeout_s: float) -> bytes | None:
            raise SystemExit

    link = Link(Deadly(), Clock())
    all_of(link)
    assert isinstance(link.failure, SystemExit)


def test_pauses_grow_to_a_last_one_that_stays() -> None:
    waited: list[float] = []

    class Recorded(threading.Event):
        def wait(self, timeout: float | None = None) -> bool:
            waited.append(timeout or 0.0)
            return False

    link = Link(Source(gone(), opens=(True,) + (False,) * 8 + (True,)), Clock(), pauses_s=(9.0,))
    link.close()
    link._stop, link._pauses_s, link._port = Recorded(), PAUSES_S, None
    link._pauses = link._growing()
    link._source = Source(opens=(False,) * 7 + (True,))
    for _ in range(8):
        link._reopen()
    assert link.is_open
    assert waited == [*PAUSES_S, PAUSES_S[-1], PAUSES_S[-1], PAUSES_S[-1]]
    assert list(PAUSES_S) == sorted(PAUSES_S)


def test_more_bytes_than_a_record_holds_are_several_chunks() -> None:
    items = all_of(Link(Source(b"x" * (2 * MAX_CHUNK + 5)), Clock()))
    assert [len(i.data) for i in items if isinstance(i, Chunk)] == [MAX_CHUNK, MAX_CHUNK, 5]


def test_closing_gives_what_had_come_and_lets_go_of_the_port() -> None:
    ready = threading.Event()

    class Slow(Source):
        def read(self, timeout_s: float) -> bytes | None:
            if not self.says:
                ready.set()
                return b""
            return super().read(timeout_s)

    source = Slow(b"one", b"two")
    link = Link(source, Clock())
    assert ready.wait(10)
    assert shortened(link.close()) == ["opened", b"one", b"two"]
    assert source.closed == 1


def test_a_link_without_a_port_ends_at_once_when_asked() -> None:
    lost = threading.Event()

    def fail() -> Exception:
        lost.set()
        return gone()

    class Failing(Source):
        def read(self, timeout_s: float) -> bytes | None:
            raise fail()

    link = Link(Failing(opens=(True, *((False,) * 99))), Clock(), pauses_s=(60.0,))
    assert lost.wait(10)
    assert shortened(link.close()) == ["opened", "lost"]


def test_what_the_host_saw_names_the_port() -> None:
    item = all_of(Link(Source(), Clock()))[0]
    assert item == HostNote(anchor=Clock().anchor(), word="opened", detail="fake")


def test_a_port_opened_first_is_handed_out_once_and_then_opened_again() -> None:
    source = Source(opens=(True, False, True))
    first = OpenedFirst(source)
    assert first.open() is source
    with pytest.raises(PortError):
        first.open()
    assert first.open() is source
    assert first.name == source.name
    first.close()  # it is not its own to close any more
    assert source.closed == 0


def test_a_port_opened_first_that_nobody_asks_for_is_let_go() -> None:
    source = Source()
    first = OpenedFirst(source)
    first.close()
    first.close()
    assert source.closed == 1


def test_a_port_that_is_not_there_is_an_error_before_anything_else() -> None:
    with pytest.raises(PortError):
        OpenedFirst(Source(opens=(False,)))
