"""From an outing's session to watts, a verdict and a report.

The names in `__all__` are stable; docs/from-python.md has examples. Each is imported when it is
first used, so that `wattsump --help` stays fast. A function with the name of its module has a
longer name here: `prove_session`, `compare_outings`.
"""

import importlib
import typing

if typing.TYPE_CHECKING:
    from wattsump_analysis.proof.prove import prove as prove_session
    from wattsump_analysis.questions.answer import Answer
    from wattsump_analysis.questions.ask import (
        ask_cab,
        ask_forecast,
        ask_limits,
        ask_lines,
        ask_oil,
        ask_preheat,
        ask_rating,
    )
    from wattsump_analysis.questions.writing import screen as answer_text
    from wattsump_analysis.results import Interval, Proof
    from wattsump_analysis.season.compare import Comparison
    from wattsump_analysis.season.compare import compare as compare_outings
    from wattsump_analysis.season.folder import Gathered, gather, one_by_one
    from wattsump_analysis.season.outing import Outing
    from wattsump_analysis.season.trend import Trend, trend_of
    from wattsump_analysis.show.plots.files import save as save_plot
    from wattsump_analysis.show.plots.outing import plot_label, plot_outing
    from wattsump_analysis.show.plots.season import plot_comparison, plot_trend
    from wattsump_analysis.show.report.page import write_report

__all__ = (
    "Answer",
    "Comparison",
    "Gathered",
    "Interval",
    "Outing",
    "Proof",
    "Trend",
    "answer_text",
    "ask_cab",
    "ask_forecast",
    "ask_limits",
    "ask_lines",
    "ask_oil",
    "ask_preheat",
    "ask_rating",
    "compare_outings",
    "gather",
    "one_by_one",
    "plot_comparison",
    "plot_label",
    "plot_outing",
    "plot_trend",
    "prove_session",
    "save_plot",
    "trend_of",
    "write_report",
)

# By public name: module and name there.
_HOMES = {
    "Answer": ("questions.answer", "Answer"),
    "answer_text": ("questions.writing", "screen"),
    "ask_cab": ("questions.ask", "ask_cab"),
    "ask_forecast": ("questions.ask", "ask_forecast"),
    "ask_limits": ("questions.ask", "ask_limits"),
    "ask_lines": ("questions.ask", "ask_lines"),
    "ask_oil": ("questions.ask", "ask_oil"),
    "ask_preheat": ("questions.ask", "ask_preheat"),
    "ask_rating": ("questions.ask", "ask_rating"),
    "Comparison": ("season.compare", "Comparison"),
    "Gathered": ("season.folder", "Gathered"),
    "Interval": ("results", "Interval"),
    "Outing": ("season.outing", "Outing"),
    "Proof": ("results", "Proof"),
    "Trend": ("season.trend", "Trend"),
    "compare_outings": ("season.compare", "compare"),
    "gather": ("season.folder", "gather"),
    "one_by_one": ("season.folder", "one_by_one"),
    "plot_comparison": ("show.plots.season", "plot_comparison"),
    "plot_label": ("show.plots.outing", "plot_label"),
    "plot_outing": ("show.plots.outing", "plot_outing"),
    "plot_trend": ("show.plots.season", "plot_trend"),
    "prove_session": ("proof.prove", "prove"),
    "save_plot": ("show.plots.files", "save"),
    "trend_of": ("season.trend", "trend_of"),
    "write_report": ("show.report.page", "write_report"),
}


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home, there = _HOMES[name]
    value: object = getattr(importlib.import_module(f"{__name__}.{home}"), there)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
