"""Draws of a posterior: their weights, and a Gaussian whose answer is known."""

from dataclasses import fields, replace

import numpy as np
import pytest

from wattsump_analysis.model import posterior
from wattsump_analysis.model.network import Network, Parameters
from wattsump_analysis.model.posterior import (
    Gaussian,
    Posterior,
    _within_prior,
    draw_from,
    find_mode,
)


@pytest.fixture(autouse=True)
def slope_by_differences(monkeypatch: pytest.MonkeyPatch) -> None:
    """The stand-ins have no rows to follow back, so their slope is a difference quotient."""

    def both(network: Network, p: Parameters) -> tuple[float, dict[str, float]]:
        slopes = {}
        for field in fields(Parameters):
            here = getattr(p, field.name)
            ahead, behind = (
                network.log_likelihood(replace(p, **{field.name: here + step}))
                for step in (1e-5, -1e-5)
            )
            slopes[field.name] = (ahead - behind) / 2e-5
        return network.log_likelihood(p), slopes

    monkeypatch.setattr(posterior, "log_likelihood_and_slope", both)


class OneReading:
    """A stand-in network that saw the motion gain once, at 0.8 with a deviation of 0.3."""

    def log_likelihood(self, p: Parameters) -> float:
        return -0.5 * ((p.motion_gain - 0.8) / 0.3) ** 2


def priors() -> dict[str, Gaussian]:
    fixed = {name: Gaussian(mean=0.0, sd=0.0) for name in Parameters.__dataclass_fields__}
    return {
        **fixed,
        "motion_gain": Gaussian(mean=0.2, sd=0.4),
        "cooler_w_k": Gaussian(mean=4.5, sd=0.2, stated=True),
    }


def drawn(network: Network, seed: int) -> Posterior:
    return draw_from(network, find_mode(network, priors()), np.random.default_rng(seed))


def test_prior_and_reading_meet_at_their_weighted_mean() -> None:
    network = OneReading()
    found = drawn(network, 3)  # type: ignore[arg-type]
    gain = found.column("motion_gain")
    mean = float(found.weights @ gain)
    sd = float(np.sqrt(found.weights @ (gain - mean) ** 2))
    # independent: precision-weighted mean of 0.2 +/- 0.4 and 0.8 +/- 0.3 is 0.584, deviation
    # 0.24; a hundred effective draws know them to a tenth of that.
    assert mean == pytest.approx(0.584, abs=0.05)
    # independent: as above.
    assert sd == pytest.approx(0.24, abs=0.04)


def test_what_no_reading_touches_keeps_its_prior() -> None:
    network = OneReading()
    found = drawn(network, 3)  # type: ignore[arg-type]
    row = found.names.index("cooler_w_k")
    # independent: the prior's own variance, to the accuracy of second differences.
    assert found.covariance[row, row] == pytest.approx(0.04, rel=1e-3)


def test_a_model_without_reach_is_said_so() -> None:
    class Nowhere(Network):
        def __init__(self) -> None:
            pass

        def log_likelihood(self, p: Parameters) -> float:
            raise np.linalg.LinAlgError

    with pytest.raises(ArithmeticError, match="within the model's reach"):
        drawn(Nowhere(), 0)


def test_a_proposal_is_no_wider_than_a_little_more_than_the_prior_in_any_direction() -> None:
    sd = np.array([0.1, 3.0])
    turn = np.array([[0.8, -0.6], [0.6, 0.8]])
    misread = np.outer(sd, sd) * (turn @ np.diag([0.02, 1e5]) @ turn.T)
    kept = _within_prior(misread, sd) / np.outer(sd, sd)
    # independent: the narrow direction stays, the wide one is brought to the bound.
    assert np.linalg.eigvalsh(kept) == pytest.approx([0.02, posterior.WIDEST], rel=1e-6)
    assert turn[:, 0] @ kept @ turn[:, 0] == pytest.approx(0.02, rel=1e-6)


def test_a_covariance_within_the_prior_is_left_as_it_is() -> None:
    sd = np.array([0.5, 2.0])
    covariance = np.array([[0.04, 0.05], [0.05, 0.9]])
    assert _within_prior(covariance, sd) == pytest.approx(covariance, rel=1e-9)
