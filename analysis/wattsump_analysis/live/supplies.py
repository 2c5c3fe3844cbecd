"""What the analysis supplies to `log`: where the oil is heading, and how well K is known.

Nothing heavy is imported before a capture asks for it. The fit runs in a thread of its own,
seldom, and never twice at a time: recording comes first.
"""

from typing import TYPE_CHECKING

from wattsump_analysis.live.forecast import Ahead
from wattsump_analysis.live.running_k import Guided, RunningK
from wattsump_logger.commands.log import PROVING_RUN, Supplies

__all__ = ("supplies",)

if TYPE_CHECKING:
    from wattsump_logger.machine.profile import Profile
    from wattsump_logger.watch.guide import Guide


def supplies() -> Supplies:
    """Return what `log` is given."""
    return Supplies(forecaster=Ahead, guides={PROVING_RUN: _proving_run})


def _proving_run(profile: "Profile | None") -> "Guide":
    from wattsump_logger.watch.proving_run import proving_run

    running = RunningK(profile)
    return Guided(proving_run(profile, estimate=running.learned), running)
