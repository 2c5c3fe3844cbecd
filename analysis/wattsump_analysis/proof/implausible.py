"""What a fit found that no machine as described has: reasons to give no watts."""

import numpy as np

from wattsump_analysis.model.fit import LATE_S, latest
from wattsump_analysis.proof.stretch import Stretch
from wattsump_logger.remark import Remark

__all__ = ("STATED_WORDS", "denied_prior", "late_probe", "slow_probe")

# Of one value that was stated, or assumed of how a probe sits: a typing error or another machine,
# not chance.
DENIED_SD = 4.0
# Of all that was stated together, in squares. Drawn machines reach 2; four whose oil flow was
# stated three times too small 3.9 and more, no value by more than 3.2.
TOGETHER_SD = 3.5
PROBE_WORDS = {
    "tank": "the tank probe",
    "cooler_in": "the probe into the cooler",
    "cooler_out": "the probe out of the cooler",
}
STATED_WORDS = {
    "oil_j_k": "the oil's heat capacity",
    "metal_j_k": "the metal's heat capacity",
    "oil_heat": "the oil's specific heat",
    "oil_flow_w_k": "the oil's flow",
    "offset_ambient_k": "the air probe's error",
    "offset_in_k": "the error of the probe into the cooler",
    "offset_out_k": "the error of the probe out of the cooler",
    "contact_tank": "the contact error of the tank probe",
    "contact_in": "the contact error of the probe into the cooler",
    "contact_out": "the contact error of the probe out of the cooler",
    "heater_gain": "the heater's power",
}
SLOW_S = 100.0  # no probe that touches its oil is so late: common practice, no source


def denied_prior(stretch: Stretch) -> Remark | None:
    """Why readings and what was stated cannot both be right: the value that had to give way."""
    if stretch.fitted is None or stretch.by_side:
        return None
    posterior = stretch.fitted.posterior
    priors = [posterior.priors[name].original for name in posterior.names]
    shifts = {
        name: (mean - prior.mean) / prior.sd
        for name, mean, prior in zip(
            posterior.names, posterior.draws.mean(axis=0), priors, strict=True
        )
        if prior.stated
    }
    if not shifts:
        return None
    name = max(shifts, key=lambda name: abs(shifts[name]))
    stated = [shift for name, shift in shifts.items() if not name.startswith("contact_")]
    alone, together = abs(shifts[name]), float(np.linalg.norm(stated))
    if alone < DENIED_SD and together < TOGETHER_SD:
        return None
    others = ", and others with it" if alone < DENIED_SD else ""
    return Remark(
        code="readings-deny-stated",
        text=f"to explain the readings {STATED_WORDS[name]} would have to be "
        f"{abs(shifts[name]):.0f} standard uncertainties from what was stated{others}: the machine "
        "is not as described",
    )


def late_probe(stretch: Stretch, over_s: float = LATE_S) -> str | None:
    """The probe that follows its oil latest, with its lag, if that is over `over_s`."""
    if stretch.fitted is None or stretch.by_side:
        return None
    name, lag_s = latest(stretch.fitted.posterior)
    return f"{PROBE_WORDS[name]} follows its oil {lag_s:.0f} s late" if lag_s > over_s else None


def slow_probe(stretch: Stretch) -> Remark | None:
    """Why the readings come too late to give K: the slowest probe."""
    late = late_probe(stretch, SLOW_S)
    if late is None:
        return None
    return Remark(code="slow-probe", text=f"{late}: K is off by an unknown amount")
