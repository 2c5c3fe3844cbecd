"""The owner's questions as functions: the same answers as the commands', with typed options."""

from dataclasses import replace
from pathlib import Path

import wattsump_analysis
from refusal import refused
from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_analysis.questions.asked import QUESTIONS
from wattsump_logger.errors import UnitError, UsageError
from wattsump_logger.session.reader import load_session
from wattsump_logger.session.writer import write_session


def test_each_question_is_a_public_function_with_its_options_in_its_help() -> None:
    for name, question in QUESTIONS.items():
        function = getattr(wattsump_analysis, f"ask_{name}")
        assert f"ask_{name}" in wattsump_analysis.__all__
        for field in question.asked.__dataclass_fields__:
            assert field in (function.__doc__ or "")


def test_a_label_is_weighed_as_by_the_command() -> None:
    answer = wattsump_analysis.ask_rating(label_heat="20,000 BTU/h", label_etd="100 degF")
    # independent, by hand: 20 000 x 0.29307 W / 55.556 K, to the last digit shown
    assert "106 W/K" in wattsump_analysis.answer_text(answer)
    assert repr(answer).startswith("<Answer rating: ")


def test_the_machine_s_profile_is_taken_where_given() -> None:
    answer = wattsump_analysis.ask_rating(machine=demo_profile())
    assert "6.00 kW" in wattsump_analysis.answer_text(answer)


def test_a_mistyped_option_and_a_missing_unit_are_refused_by_name() -> None:
    with refused(UsageError, "ask_rating"):
        wattsump_analysis.ask_rating(label_heet="6 kW")
    with refused(UnitError, "--label-heat"):
        wattsump_analysis.ask_rating(label_heat="6")


def test_a_session_gives_the_profile_it_was_logged_with(tmp_path: Path) -> None:
    path = tmp_path / "s.csv"
    write_session(path, [0.0, 1.0], {"tank_c": [20.0, 21.0]})
    profile = demo_profile()
    session = replace(load_session(path), metadata={"profile": profile.typed})
    answer = wattsump_analysis.ask_preheat(session=session, heater="500 W")
    as_if_named = wattsump_analysis.ask_preheat(machine=profile, heater="500 W")
    assert answer.row("time_s") == as_if_named.row("time_s")
