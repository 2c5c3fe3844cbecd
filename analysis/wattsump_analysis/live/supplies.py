"""The forecaster, the running estimate and the proving run's guide that `log` is supplied with.

Heavy modules are imported when a recording needs them. The running estimate has a thread of its
own and never runs twice at a time.
"""

from typing import TYPE_CHECKING

from wattsump_logger.commands.log import PROVING_RUN, Supplies

__all__ = ("supplies",)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from wattsump_logger.machine.profile import Profile
    from wattsump_logger.watch.alarm_rules import Typed
    from wattsump_logger.watch.guide import Guide
    from wattsump_logger.watch.look import Look
    from wattsump_logger.watch.moment import Forecaster


def supplies() -> Supplies:
    """Return the supplies for `log`."""
    return Supplies(
        forecaster=_ahead, known_so_far=_known_so_far, guides={PROVING_RUN: _proving_run}
    )


def _ahead(profile: "Profile | None", limits_c: "Mapping[str, float]") -> "Forecaster":
    from wattsump_analysis.live.forecast import Ahead

    return Ahead(profile, limits_c)


def _known_so_far(profile: "Profile | None") -> "Callable[[Look], str]":
    from wattsump_analysis.live.running_k import Plainly

    return Plainly(profile)


def _proving_run(profile: "Profile | None", typed: "Typed") -> "Guide":
    from wattsump_analysis.live.running_k import Guided, RunningK
    from wattsump_logger.watch.proving_run import proving_run

    running = RunningK(profile)
    return Guided(proving_run(profile, typed, estimate=running.learned), running)
