"""Files as nobody thought of them, given to `import` as an owner gives them."""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from wattsump_logger.commands import program
from wattsump_logger.errors import WattsumpError
from wattsump_logger.session.reader import Session, load_session

COUNT = 60
START = datetime(2026, 5, 24, 7, 0, 1, tzinfo=UTC)
TANK_C = np.round(40.0 + 0.05 * np.arange(COUNT), 2)
AIR_C = 18.5
HEAD = "Time,Tank (°C),Ambient (°C)"

Import = Callable[..., Session]


def stamps(form: str = "%Y-%m-%d %H:%M:%S", start: datetime = START) -> list[str]:
    return [(start + timedelta(seconds=at)).strftime(form) for at in range(COUNT)]


def rows(times: list[str], form: str = "{t},{tank:.2f},18.50") -> list[str]:
    return [
        form.format(t=t, tank=tank, at=at)
        for at, (t, tank) in enumerate(zip(times, TANK_C, strict=False))
    ]


@pytest.fixture
def imported(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Import:
    monkeypatch.chdir(tmp_path)
    app = typer.Typer()
    program.register(app)

    def run(lines: list[str] | bytes, *typed: str) -> Session:
        data = lines if isinstance(lines, bytes) else ("\n".join(lines) + "\n").encode()
        Path("x.csv").write_bytes(data)
        result = CliRunner().invoke(app, ["import", "x.csv", "--name", "out", *typed])
        if result.exception is not None:
            assert not Path("out.csv").exists()
            raise result.exception
        return load_session("out.csv")

    return run


def is_source(session: Session) -> bool:
    # independent: the numbers that the file was written from, in hundredths
    return bool(
        np.allclose(session.elapsed_s, np.arange(COUNT), atol=2e-3)
        and np.allclose(session.columns["tank_c"], TANK_C, atol=2e-3)
        and np.allclose(session.columns["ambient_c"], AIR_C, atol=2e-3)
    )


EPOCH_S = int(START.timestamp())
UNDERSTOOD = {
    "date formats among the units": [
        "Time,Tank,Ambient",
        "yyyy-mm-dd hh:mm:ss,°C,°C",
        *rows(stamps()),
    ],
    "thousands with points": [
        "Time;Tank (°C);Ambient (°C);Engine (rpm)",
        *[line.replace(".", ",") + ";2.200" for line in rows(stamps(), "{t};{tank:.2f};18.50")],
    ],
    "decimal comma in the second half": [
        HEAD.replace(",", ";"),
        *rows(stamps(), "{t};{tank:.2f};18.50")[:30],
        *[line.replace(".", ",") for line in rows(stamps(), "{t};{tank:.2f};18.50")[30:]],
    ],
    "units and commas in the cells": [
        "Time;Tank;Ambient",
        *[line.replace(".", ",") for line in rows(stamps(), "{t};{tank:.2f} °C;18.50 °C")],
    ],
    "another unit in each column's cells": [
        "Time,Tank,Ambient",
        *rows(stamps(), "{t},{tank:.2f} °C,65.30 °F"),
    ],
    "kelvin": ["Time,Tank (°C),Ambient (K)", *rows(stamps(), "{t},{tank:.2f},291.65")],
    "rows that end with a comma": [HEAD, *rows(stamps(), "{t},{tank:.2f},18.50,")],
    "names on two lines": [
        '"Time\n(local)","Tank\n(°C)","Ambient\n(°C)"',
        *rows(stamps()),
    ],
    "humidity beside the air": [
        "Time,Tank (°C),Ambient (°C),Ambient humidity (%)",
        *rows(stamps(), "{t},{tank:.2f},18.50,55"),
    ],
    "am and pm in a column": [
        "Date,Time,AM/PM,Tank (°C),Ambient (°C)",
        *rows(stamps("%m/%d/%Y,%I:%M:%S,%p", START + timedelta(hours=5, minutes=59, seconds=40))),
    ],
    "a month's name": [HEAD, *rows(stamps("%d-%b-%Y %H:%M:%S"))],
    "fourteen digits": [HEAD, *rows(stamps("%Y%m%d %H%M%S"))],
    "points in the time": [HEAD, *rows(stamps("%d.%m.%Y %H.%M.%S"))],
    "microseconds since 1970": [HEAD, *rows([f"{EPOCH_S + at}000000" for at in range(COUNT)])],
    "minutes and tenths of seconds": [HEAD, *rows(stamps("%M:%S.0", START - timedelta(seconds=9)))],
    "an uptime that begins as a spreadsheet's day": [
        HEAD,
        *rows([f"{40_000 + at}" for at in range(COUNT)]),
    ],
    "summer time ends": [
        HEAD,
        *rows(stamps("%Y-%m-%dT%H:%M:%S+02:00"))[:30],
        *rows(stamps("%Y-%m-%dT%H:%M:%S+01:00", START - timedelta(hours=1)))[30:],
    ],
}


@pytest.mark.parametrize("name", UNDERSTOOD)
def test_an_odd_file_gives_the_numbers_that_it_was_written_from(
    imported: Import, name: str
) -> None:
    assert is_source(imported(UNDERSTOOD[name]))


def test_a_sensor_read_once_and_a_total_below_keep_their_columns(imported: Import) -> None:
    lines = rows(stamps(), "{t},{tank:.2f},18.50,1,")
    total = "Average,41.48,18.50,0.98,30"
    session = imported([f"{HEAD},Fan,Gearbox (°C)", *lines[:-1], f"{lines[-1]}30", total])
    assert {"fan_on", "gearbox_c"} <= set(session.columns)


@pytest.mark.parametrize(
    ("header", "stamp", "typed"),
    [
        ("Time,Tank (°C),Ambient (°C)", "%y/%m/%d %H:%M:%S", ("--dates", "year-first")),
        ("Elapsed,Tank (°C),Ambient (°C)", "%M:%S", ("--times", "mm:ss")),
    ],
)
def test_times_of_two_meanings_are_asked_about(
    imported: Import, header: str, stamp: str, typed: tuple[str, str]
) -> None:
    lines = [header, *rows(stamps(stamp))]
    with pytest.raises(WattsumpError) as caught:
        imported(lines)
    assert typed[0] in caught.value.do
    session = imported(lines, *typed)
    assert is_source(session)
    assert session.start_utc in (START, None)


@pytest.mark.parametrize("name", ["Time (UTC)", "Time"])
def test_a_file_that_names_utc_is_in_utc(
    imported: Import, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    form = "%Y-%m-%d %H:%M:%S" + ("" if "UTC" in name else " UTC")
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    time.tzset()
    try:
        session = imported([HEAD.replace("Time", name), *rows(stamps(form))])
    finally:
        monkeypatch.undo()
        time.tzset()
    assert session.start_utc == START


@pytest.mark.parametrize(
    ("header", "form", "typed"),
    [
        ("Time (s),Tank (°C),Ambient (°C)", "{at}000,{tank:.2f},18.50", ("--times", "ms")),
        (
            "Time (s),Tank (°C),Ambient (°C),Engine",
            "{at},{tank:.2f},18.50,2.200",
            ("--decimals", "comma"),
        ),
    ],
)
def test_a_typed_setting_holds_where_nothing_would_be_asked(
    imported: Import, header: str, form: str, typed: tuple[str, str]
) -> None:
    session = imported([header, *rows(stamps(), form)], *typed)
    assert is_source(session)
    # independent: the speed that was written, with its thousands parted
    assert set(session.columns.get("engine_rpm", [2200.0])) == {2200.0}


def test_a_zone_in_hours_alone_counts(imported: Import) -> None:
    form = "%Y-%m-%d %H:%M:%S+02"
    session = imported([HEAD, *rows(stamps(form, START + timedelta(hours=2)))])
    assert session.start_utc == START


@pytest.mark.parametrize("year", ["1970", "0026", "9999"])
def test_a_clock_that_was_never_set_gives_no_date_and_start_does(
    imported: Import, year: str
) -> None:
    lines = [HEAD, *rows([year + stamp[4:] for stamp in stamps()])]
    assert imported(lines).start_utc is None
    Path("out.csv").unlink()
    assert imported(lines, "--start", START.isoformat()).start_utc == START


@pytest.mark.parametrize(("on", "off"), [("running", "stopped"), ("Y", "N"), ("RUN", "STOP")])
def test_an_engine_in_words_is_on_or_off(imported: Import, on: str, off: str) -> None:
    lines = rows(stamps(), "{t},{tank:.2f},18.50,")
    lines = [line + (on if at >= 20 else off) for at, line in enumerate(lines)]
    engine = imported([f"{HEAD},Engine", *lines]).columns["engine_on"]
    assert np.flatnonzero(np.diff(engine)).tolist() == [19]


@pytest.mark.parametrize("reading", ["850.0", "999.9", "1372.0"])
def test_what_a_logger_writes_for_a_broken_probe_is_no_oil_temperature(
    imported: Import, reading: str
) -> None:
    lines = rows(stamps())
    session = imported([HEAD, *lines[:50], *[f"{t},{reading},18.5" for t in stamps()[50:]]])
    assert np.flatnonzero(np.isnan(session.columns["tank_c"])).tolist() == list(range(50, COUNT))
    assert {fault.code for fault in session.faults} == {"range"}


REFUSED = {
    "decimal commas between commas": [
        f"{HEAD},Fan",
        *[line.replace(".", ",") for line in rows(stamps(), "{t},{tank:.2f},18.50,1")],
    ],
    "a quote that nothing closes": [
        f"{HEAD},Note",
        *[line + (',"hose' if at == 30 else ",") for at, line in enumerate(rows(stamps()) * 20)],
    ],
    "one probe a row": ["time,name,value", *rows(stamps(), "{t},Tank,{tank:.2f}")],
    "names and cells in different units": [HEAD, *rows(stamps(), "{t},104.00 °F,65.30 °F")],
    "a unit that changes": [
        "Time,Tank,Ambient",
        *rows(stamps(), "{t},{tank:.2f} °C,18 °C")[:30],
        *rows(stamps(), "{t},104 °F,65 °F")[30:],
    ],
    "tenths of a degree": ["Time,Tank (0.1 °C),Ambient (°C)", *rows(stamps(), "{t},400,18.5")],
    "a flow without a unit": [f"{HEAD},Flow", *rows(stamps(), "{t},{tank:.2f},18.50,3.2")],
    "imperial gallons": [f"{HEAD},Flow (imp gpm)", *rows(stamps(), "{t},{tank:.2f},18.50,3.2")],
    "speed in thousands": [f"{HEAD},Engine (rpm)", *rows(stamps(), "{t},{tank:.2f},18.50,2.2")],
    "a fan in shares of one": [f"{HEAD},Fan duty", *rows(stamps(), "{t},{tank:.2f},18.50,0.4")],
    "an engine with three states": [
        f"{HEAD},Engine",
        *rows(stamps(), "{t},{tank:.2f},18.50,off")[:20],
        *rows(stamps(), "{t},{tank:.2f},18.50,working")[20:],
    ],
    "milliseconds not named": [
        f"Count{HEAD[4:]}",
        *rows([f"{1000 * at + 5123}" for at in range(COUNT)]),
    ],
    "times rounded by a spreadsheet": [
        HEAD,
        *rows([f"{(EPOCH_S + 40 * at) // 1000 * 1000}" for at in range(COUNT)]),
    ],
    "a clock set while it logged": [
        HEAD,
        *rows(stamps(start=START.replace(year=2000))[:3]),
        *rows(stamps()),
    ],
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_could_be_read_wrongly_is_refused_in_one_line_and_nothing_is_written(
    imported: Import, name: str
) -> None:
    with pytest.raises(WattsumpError) as caught:
        imported(REFUSED[name])
    assert "\n" not in str(caught.value)
    assert caught.value.do


def test_tenths_said_to_be_degrees_are_refused(imported: Import) -> None:
    lines = ["Time,Tank (0.1 °C),Ambient (°C)", *rows(stamps(), "{t},400,18.5")]
    with pytest.raises(WattsumpError):
        imported(lines, "--column", "Tank (0.1 °C)=tank degC")


def test_a_row_cut_off_by_a_power_cut_is_left_out(imported: Import) -> None:
    lines = [HEAD, *rows(stamps()), f"{stamps(start=START + timedelta(minutes=1))[0]},4"]
    assert is_source(imported("\r\n".join(lines).encode()))
