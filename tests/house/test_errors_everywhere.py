"""Every error of both packages: one family, one line, and whole after a trip by pickle."""

import importlib
import inspect
import pickle
import pkgutil

import pytest

import wattsump_analysis
import wattsump_logger
from wattsump_logger.errors import PortError, UsageError, WattsumpError


def error_classes() -> list[type[Exception]]:
    found: set[type[Exception]] = set()
    for package in (wattsump_logger, wattsump_analysis):
        for info in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
            for _, kind in inspect.getmembers(importlib.import_module(info.name), inspect.isclass):
                if issubclass(kind, Exception) and kind.__module__ == info.name:
                    found.add(kind)
    return sorted(found, key=lambda kind: (kind.__module__, kind.__qualname__))


ERRORS = error_classes()
OURS = [kind for kind in ERRORS if issubclass(kind, WattsumpError)]


def one_of(kind: type[WattsumpError]) -> WattsumpError:
    return kind(expected="a sump", found="'a slump'", where="bracken.toml", do="type it again")


@pytest.mark.parametrize("kind", ERRORS, ids=lambda kind: str(kind.__qualname__))
def test_every_public_error_belongs_to_the_family(kind: type[Exception]) -> None:
    assert issubclass(kind, WattsumpError) or kind.__qualname__.startswith("_")


@pytest.mark.parametrize("kind", OURS, ids=lambda kind: str(kind.__qualname__))
def test_an_error_survives_a_trip_by_pickle(kind: type[WattsumpError]) -> None:
    sent = one_of(kind)
    arrived = pickle.loads(pickle.dumps(sent))
    assert type(arrived) is kind
    assert arrived.args == sent.args
    assert str(arrived) == str(sent)
    assert (arrived.expected, arrived.found) == (sent.expected, sent.found)
    assert (arrived.where, arrived.do) == (sent.where, sent.do)


@pytest.mark.parametrize("kind", OURS, ids=lambda kind: str(kind.__qualname__))
def test_an_error_says_the_four_things_in_one_line(kind: type[WattsumpError]) -> None:
    line = str(one_of(kind))
    assert line == "bracken.toml: expected a sump, found 'a slump'; type it again"


@pytest.mark.parametrize("kind", OURS, ids=lambda kind: str(kind.__qualname__))
def test_an_error_has_a_docstring_and_a_code_that_is_neither_success_nor_a_bug(
    kind: type[WattsumpError],
) -> None:
    assert kind.__doc__
    assert kind.exit_code >= 2


@pytest.mark.parametrize("kind", OURS, ids=lambda kind: str(kind.__qualname__))
def test_an_error_is_also_the_builtin_a_stranger_would_catch(kind: type[WattsumpError]) -> None:
    assert kind is WattsumpError or issubclass(kind, ValueError | OSError)


def test_a_port_and_a_mistyped_request_have_codes_of_their_own() -> None:
    assert PortError.exit_code not in (UsageError.exit_code, WattsumpError.exit_code)
