"""Tables of other loggers: what is read by itself, what is asked, what is refused."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray

from refusal import refused
from wattsump_logger.errors import SessionError, UsageError
from wattsump_logger.foreign.adopt import Understood, understand, write
from wattsump_logger.foreign.asking import Question
from wattsump_logger.foreign.kept import Answers, answers_for, keep
from wattsump_logger.foreign.shown import preview
from wattsump_logger.foreign.times import typed_times
from wattsump_logger.machine.profile import profile_from_dict
from wattsump_logger.session.reader import load_session

START = datetime(2026, 5, 24, 9, 0)
OIL_C = 20.0 + 0.05 * np.arange(600)
AIR_C = np.full(600, 18.5)


def refusing(question: Question) -> str:
    raise AssertionError(f"nothing is open here, yet asked: {question.text}")


class Answering:
    """Answers by the first key that a question's text holds, and keeps what was asked."""

    def __init__(self, **answers: str) -> None:
        self.answers = answers
        self.asked: list[Question] = []

    def __call__(self, question: Question) -> str:
        self.asked.append(question)
        return self.answers.get(question.key.replace(" ", "_"), question.usual)


def table(
    path: Path,
    header: str,
    *,
    stamp: str = "%Y-%m-%d %H:%M:%S",
    separator: str = ",",
    comma: bool = False,
    fahrenheit: bool = False,
    encoding: str = "utf-8",
    above: Sequence[str] = (),
    columns: Sequence[NDArray[np.floating[Any]]] = (OIL_C, AIR_C),
) -> Path:
    lines = [*above, header]
    for row in range(columns[0].size):
        cells = [(START + timedelta(seconds=row)).strftime(stamp)]
        for column in columns:
            value = column[row] * 1.8 + 32.0 if fahrenheit else column[row]
            cells.append(f"{value:.2f}".replace(".", "," if comma else "."))
        lines.append(separator.join(cells))
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode(encoding))
    return path


def is_right(made: Understood) -> bool:
    oil, air = made.values["tank_c"], made.values["ambient_c"]
    return bool(
        np.allclose(made.stamps.elapsed_s, np.arange(600), atol=1e-6)
        and np.allclose(oil, OIL_C, atol=0.006)
        and np.allclose(air, AIR_C, atol=0.006)
    )


@pytest.mark.parametrize(
    ("header", "options"),
    [
        ("Time,Tank (°C),Ambient (°C)", {}),
        ("Time;Tank [°C];Ambient [°C]", {"separator": ";", "comma": True}),
        ("Time\tTank C\tAmbient C", {"separator": "\t", "encoding": "utf-16"}),
        ("Time,Tank °F,Ambient °F", {"fahrenheit": True, "encoding": "utf-8-sig"}),
        ("Time;Tank °C;Ambient °C", {"separator": ";", "encoding": "cp1252"}),
        ("timestamp,tank_c,ambient_c", {"stamp": "%Y-%m-%dT%H:%M:%S.000Z"}),
        ("Date,Reservoir degC,Outside degC", {"stamp": "%d.%m.%Y %H:%M:%S"}),
        ("Date,Sump degC,Air in degC", {"stamp": "%m/%d/%Y %I:%M:%S %p"}),
        ("Time,Tank,Ambient", {"above": ["a logger;12", ""], "stamp": "%H:%M:%S"}),
        ("Time,Tank\r\nhh:mm:ss,degC", {"columns": (OIL_C,)}),
    ],
)
def test_usual_forms_of_tables_read_to_the_same_session(
    tmp_path: Path, header: str, options: dict[str, object]
) -> None:
    path = table(tmp_path / "other.csv", header, **options)  # type: ignore[arg-type]
    ask = Answering(temperatures="degC")
    made = understand(path, ask)
    if len(made.values) == 1:
        made.values["ambient_c"] = AIR_C  # type: ignore[index]
    assert is_right(made)


def test_a_file_that_a_spreadsheet_says_the_separator_of_is_read(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time;Tank C;Ambient C", above=["sep=;"], separator=";")
    assert is_right(understand(path, refusing))


def test_a_date_and_a_time_in_columns_of_their_own_are_joined(tmp_path: Path) -> None:
    path = table(
        tmp_path / "x.csv", "Date;Time;Tank C;Ambient C", stamp="%d.%m.%Y;%H:%M:%S", separator=";"
    )
    made = understand(path, refusing)
    assert is_right(made)
    assert made.stamps.start == START


def test_a_date_that_could_be_two_is_asked_about(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("Time,Tank C\n04/05/2026 09:00:00,20\n04/05/2026 09:00:01,21\n")
    starts = [
        understand(path, Answering(dates=order)).stamps.start
        for order in ("day-first", "month-first")
    ]
    assert starts == [datetime(2026, 5, 4, 9), datetime(2026, 4, 5, 9)]


def test_a_date_that_can_be_one_only_is_not_asked_about(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Tank C,Ambient C", stamp="%d/%m/%Y %H:%M:%S")
    assert understand(path, refusing).stamps.start == START


def test_spreadsheet_days_are_read_as_pandas_reads_them(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    days = 46166.375 + np.arange(60) / 86400
    path.write_text("Time,Tank C\n" + "".join(f"{day:.9f},20.5\n" for day in days))
    made = understand(path, refusing)
    # independent: pandas, days counted from 1899-12-30, exact at this day and hour
    assert made.stamps.start == pd.to_datetime(46166.375, unit="D", origin="1899-12-30")
    assert np.allclose(made.stamps.elapsed_s, np.arange(60), atol=1e-3)


def test_seconds_since_1970_are_utc(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("timestamp,Tank C\n" + "".join(f"{1_777_878_000 + i},20.5\n" for i in range(9)))
    made = understand(path, refusing)
    # independent: the standard library's own conversion
    assert made.start_utc == datetime.fromtimestamp(1_777_878_000, UTC)


def test_a_clock_that_lost_its_seconds_is_spread_over_each_minute(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Tank C,Ambient C", stamp="%H:%M")
    made = understand(path, refusing)
    assert is_right(made)
    assert [note.code for note in made.notes] == ["times-in-steps"]
    assert "60 s" in made.notes[0].text


def test_a_night_goes_past_midnight(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("Time,Tank C\n23:59:58,20\n23:59:59,20\n00:00:00,20\n00:00:01,20\n")
    assert understand(path, refusing).stamps.elapsed_s.tolist() == [0, 1, 2, 3]


def test_a_clock_set_back_is_refused_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("Time,Tank C\n09:00:00,20\n09:00:01,20\n08:00:02,20\n08:00:03,20\n")
    with pytest.raises(SessionError, match="3599 s backwards at line 4"):
        understand(path, refusing)


def test_oil_alone_is_never_taken_for_the_tank(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Oil C,Ambient C")
    ask = Answering(Oil_C="cooler_in")
    made = understand(path, ask)
    assert ask.asked[0].choices == ("tank", "cooler_in", "cooler_out", "nothing")
    assert set(made.values) == {"cooler_in_c", "ambient_c"}


def test_two_columns_of_one_role_are_both_asked_about(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Oil in C,Cooler inlet C")
    ask = Answering(Oil_in_C="cooler_in", Cooler_inlet_C="nothing")
    made = understand(path, ask)
    assert [question.key for question in ask.asked] == ["Oil in C", "Cooler inlet C"]
    assert set(made.values) == {"cooler_in_c"}


def test_a_column_without_a_role_is_kept_with_a_unit_and_said(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Tank C,Gearbox C")
    made = understand(path, Answering())
    assert "gearbox_c" in made.values
    assert any("no role, kept" in line for line in preview(made))


def test_degrees_without_a_unit_are_asked_about_where_both_could_be(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Tank,Ambient")
    ask = Answering(temperatures="degC")
    assert is_right(understand(path, ask))
    assert [question.key for question in ask.asked] == ["temperatures"]


def test_air_of_seventy_degrees_without_a_unit_is_fahrenheit(tmp_path: Path) -> None:
    air_c = np.full(600, 22.0)
    path = table(tmp_path / "x.csv", "Time,Tank,Ambient", fahrenheit=True, columns=(OIL_C, air_c))
    made = understand(path, refusing)
    # published: NIST SP 811, B.8, t/°C = (t/°F - 32)/1.8; the file has two decimals
    assert made.values["ambient_c"][0] == pytest.approx(22.0, abs=0.006)


def test_a_flow_in_gallons_becomes_litres(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Tank C,Oil flow (gpm)", columns=(OIL_C, AIR_C))
    made = understand(path, refusing)
    # published: NIST SP 811, B.8, US gallon 3.785412 L, six decimals
    assert made.values["flow_lpm"][0] == pytest.approx(18.5 * 3.785412, rel=1e-6)


def test_decimal_commas_that_also_separate_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    rows = "".join(f"09:00:{s:02d},20,{s},18,5\n" for s in range(30))
    path.write_text("Time,Tank C,Ambient C\n" + rows)
    with refused(SessionError, "x.csv"):
        understand(path, refusing)


def test_what_is_no_number_is_an_empty_cell_and_a_fault(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text(
        "Time,Tank C,Note\n09:00:00,20.5,\n09:00:01,OPEN,\n09:00:02,-999,fan off\n09:00:03,,\n"
    )
    made = understand(path, refusing)
    session = load_session(write(made, tmp_path, "out", None))
    assert np.isnan(session.columns["tank_c"]).tolist() == [False, True, True, True]
    assert [(fault.row, fault.channel, fault.code) for fault in session.faults] == [
        (1, "tank", "form"),
        (2, "tank", "range"),
    ]
    assert [mark.text for mark in session.marks] == ["fan off"]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"PK\x03\x04rest", "save it as CSV"),
        (b"\x00\x01\x02\x03" * 9, "no text"),
        (b"one line\n", "no separator"),
        (b"a,b\nx,y\nz,w\nq,r\n", "no rows of numbers"),
        (b"Tank C,Ambient C\n20,18\n21,18\n", "whose name says time"),
    ],
)
def test_what_is_no_table_of_readings_is_refused_with_what_to_do(
    tmp_path: Path, data: bytes, words: str
) -> None:
    path = tmp_path / "x.csv"
    path.write_bytes(data)
    with refused(SessionError, "x.csv"):
        understand(path, refusing)


def test_typed_times_become_a_channel(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Tank C,Ambient C")
    typed = typed_times(["fan on 09:01 to 09:03, 09:05 to end", "engine on 1 min to 8 min"])
    made = understand(path, refusing, typed=typed)
    fan, engine = made.values["fan_on"], made.values["engine_on"]
    assert np.flatnonzero(np.diff(fan)).tolist() == [59, 179, 299]
    assert np.flatnonzero(np.diff(engine)).tolist() == [59, 479]
    assert fan[-1] == 1.0


@pytest.mark.parametrize(
    ("half_day", "whole_day"),
    [
        ("8:43 AM", "08:43"),
        ("12:05 am", "00:05"),
        ("12:05 p.m.", "12:05"),
        ("1:07:30pm", "13:07:30"),
    ],
)
def test_typed_times_are_read_in_twelve_hours_too(half_day: str, whole_day: str) -> None:
    spans = [typed_times([f"fan on {at} to end"])[0].spans for at in (half_day, whole_day)]
    assert spans == [((whole_day, "end"),)] * 2


@pytest.mark.parametrize("dash", ["-", " - ", "–"])
def test_typed_times_may_have_a_dash_between_them(dash: str) -> None:
    assert typed_times([f"fan on 9:10{dash}9:40"])[0].spans == (("9:10", "9:40"),)


def test_a_state_in_words_that_are_not_known_is_told_and_refused_where_it_is_named(
    tmp_path: Path,
) -> None:
    path = tmp_path / "x.csv"
    lines = [f"{row},{20 + row / 9:.1f},18.5,{'ein' if row > 30 else 'aus'}" for row in range(60)]
    path.write_text("\n".join(["time s,Tank C,Ambient C,Ventilator", *lines]) + "\n")
    made = understand(path, refusing)
    assert [note.code for note in made.notes] == ["column-without-numbers"]
    with refused(SessionError, "x.csv"):
        understand(path, refusing, answers=Answers(columns={"Ventilator": "fan"}))


def test_an_hour_meter_of_two_decimals_is_a_time(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    lines = [f"{1834 + row // 6 / 100:.2f},{20 + row / 9:.1f},18.5" for row in range(60)]
    path.write_text("\n".join(["Engine hours,Tank C,Ambient C", *lines]) + "\n")
    made = understand(path, refusing)
    # independent: a hundredth of an hour is 36 s, for six rows
    np.testing.assert_allclose(np.diff(made.stamps.elapsed_s), 6.0, atol=1e-3)


def test_times_of_what_a_column_tells_are_refused(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Tank C,Fan", columns=(OIL_C, np.ones(600)))
    with refused(UsageError, "--was"):
        understand(path, refusing, typed=typed_times(["fan off throughout"]))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("fan 09:10 to 09:40", "then on or off"),
        ("pump on 09:10 to 09:40", "begin with fan"),
        ("fan on 09:10, 09:40", "write begin to end"),
        ("fan on 09:02 to 09:04, engine on 09:01 to 09:05", "again for each"),
        ("fan on 11:00 to 11:30", "10 min long and begins at 09:00:00"),
        ("fan on 13:05 pm to end", "hours of 1 to 12"),
        ("fan on 09:05 to 09:01", "outside this file or empty"),
    ],
)
def test_typed_times_that_say_nothing_are_refused(tmp_path: Path, text: str, words: str) -> None:
    path = table(tmp_path / "x.csv", "Time,Tank C,Ambient C")
    with refused(UsageError, "--was"):
        understand(path, refusing, typed=typed_times([text]))


def test_answers_are_kept_for_a_file_with_the_same_names(tmp_path: Path) -> None:
    first = table(tmp_path / "x.csv", "Time,Oil,Air")
    ask = Answering(Oil="tank", Air="ambient", temperatures="degC")
    made = understand(first, ask)
    assert len(ask.asked) == 3
    kept = tmp_path / "columns.json"
    keep(kept, made.table.names, made.answers)
    again = understand(first, refusing, answers=answers_for(kept, made.table.names))
    assert is_right(again)
    assert answers_for(kept, ("Time", "Other")) is None


def test_a_damaged_file_of_answers_is_named(tmp_path: Path) -> None:
    path = tmp_path / "columns.json"
    path.write_text("{}")
    with refused(SessionError, "columns.json"):
        answers_for(path, ("Time",))


def test_the_session_tells_where_it_came_from_and_takes_no_probe_corrections(
    tmp_path: Path,
) -> None:
    profile = profile_from_dict(
        {
            "name": "Bracken",
            "oil": {"grade": "VG 46", "volume": "18 L"},
            "channels": {"tank": {"offset": "3 K", "offset_uncertainty": "0.1 K"}},
        }
    )
    path = table(tmp_path / "other.csv", "Time,Tank C,Ambient C", stamp="%H:%M:%S")
    typed = typed_times(["engine on throughout"])
    made = understand(
        path, refusing, typed=typed, profile=profile, start_utc=datetime(2026, 5, 4, 7, tzinfo=UTC)
    )
    session = load_session(write(made, tmp_path, "out", profile))
    assert session.start_utc == datetime(2026, 5, 4, 7, tzinfo=UTC)
    assert np.allclose(session.columns["tank_c"], OIL_C, atol=0.006)
    origin = session.metadata["origin"]
    assert isinstance(origin, dict)
    assert origin["file"] == "other.csv"
    assert origin["typed_times"] == ["engine on throughout"]
    held = session.metadata["profile"]
    assert isinstance(held, dict)
    assert profile_from_dict(held).channels["tank"].u_offset_k is None


def test_settled_columns_are_not_asked_about(tmp_path: Path) -> None:
    path = table(tmp_path / "x.csv", "Time,Oil,Air")
    answers = Answers(columns={"Oil": "tank degC", "Air": "ambient degC"})
    assert is_right(understand(path, refusing, answers=answers))


def test_a_first_column_that_only_rises_is_the_time_in_any_language(tmp_path: Path) -> None:
    rows = "\n".join(f"{5 * i};{20 + 0.01 * i:.2f};18.5" for i in range(100))
    path = tmp_path / "fremd.csv"
    path.write_text(f"Zeit [s];Tank C;Ambient C\n{rows}\n", encoding="utf-8")
    made = understand(path, refusing)
    assert made.stamps.elapsed_s[-1] == 495.0  # independent: 99 steps of 5 s
    assert set(made.values) == {"tank_c", "ambient_c"}


def test_a_number_of_the_row_is_not_taken_for_the_time_beside_it(tmp_path: Path) -> None:
    rows = "\n".join(f"{i};{5 * i};{20 + 0.01 * i:.2f};18.5" for i in range(100))
    path = tmp_path / "numbered.csv"
    path.write_text(f"No.;Elapsed [s];Tank C;Ambient C\n{rows}\n", encoding="utf-8")
    made = understand(path, refusing, answers=Answers(columns={"No.": "nothing"}))
    assert made.clock.time == "Elapsed [s]"
    assert made.stamps.elapsed_s[-1] == 495.0  # pinned: 99 steps of 5 s


def test_a_column_that_may_number_the_rows_is_asked_about_and_never_taken_for_seconds(
    tmp_path: Path,
) -> None:
    rows = "\n".join(f"{i};{20 + 0.01 * i:.2f};18.5" for i in range(1, 100))
    path = tmp_path / "numbered.csv"
    path.write_text(f"No.;Tank C;Ambient C\n{rows}\n", encoding="utf-8")
    asked: list[Question] = []

    def minutes(question: Question) -> str:
        asked.append(question)
        return "min"

    made = understand(path, minutes)
    assert [(question.key, question.usual) for question in asked] == [("times", "")]
    assert made.stamps.elapsed_s[-1] == 98 * 60.0  # independent: 98 steps of a minute


def test_a_first_column_that_falls_somewhere_is_no_time(tmp_path: Path) -> None:
    rows = "\n".join(f"{5 * i % 100};{20 + 0.01 * i:.2f}" for i in range(100))
    path = tmp_path / "fremd.csv"
    path.write_text(f"Zahl;Tank C\n{rows}\n", encoding="utf-8")
    with pytest.raises(SessionError):
        understand(path, refusing)
