"""The owner's questions as functions: the same answers as the commands', with typed options."""

import wattsump_analysis
from refusal import refused
from wattsump_analysis.emulation.bracken import demo_profile
from wattsump_analysis.questions.asked import QUESTIONS
from wattsump_logger.errors import UnitError, UsageError


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
