"""Draws of two layouts, and what each of them takes for granted."""

from typing import Any

import numpy as np
import pytest
from scipy.special import expit

from wattsump_analysis.model import fit
from wattsump_analysis.model.posterior import Gaussian, Posterior
from wattsump_analysis.statistics.intervals import span_of

NAMES = ("cooler_w_k", "shell_w_k")


def posterior(logit: float, log_evidence: float, effective: float, names: Any = NAMES) -> Posterior:
    rng = np.random.default_rng(5)
    return Posterior(
        names=names,
        priors={
            "cooler_w_k": Gaussian(mean=4.0, sd=1.0),
            "shell_w_k": Gaussian(mean=2.0, sd=0.5),
            "link_in_loop": Gaussian(mean=logit, sd=0.0),
            "memory_s": Gaussian(mean=4.0, sd=0.0),
        },
        mode=np.array([4.0, 2.0]),
        covariance=np.eye(2),
        draws=rng.normal(3.0, 0.1, (50, 2)),
        weights=np.full(50, 1 / 50),
        log_evidence=log_evidence,
        converged=True,
        effective_draws=effective,
    )


def mixed(monkeypatch: pytest.MonkeyPatch, *modes: Posterior) -> Posterior:
    monkeypatch.setattr(fit, "draw_from", lambda network, mode, rng: mode)
    network: Any = None
    return fit._mixed(network, modes, np.random.default_rng(1))


def test_layouts_share_the_draws_as_their_evidence_is(monkeypatch: pytest.MonkeyPatch) -> None:
    found = mixed(monkeypatch, posterior(1.4, -10.0, 40.0), posterior(-1.7, -11.0, 20.0))
    # independent: e / (1 + e) = 0.731059 of the first.
    assert found.weights[:50].sum() == pytest.approx(0.731059, abs=1e-6)
    assert found.weights.sum() == pytest.approx(1.0)
    # independent: 1 / (0.731059^2 / 40 + 0.268941^2 / 20) by hand.
    assert found.effective_draws == pytest.approx(58.90, abs=0.01)


def test_each_draw_keeps_what_its_own_layout_fixes(monkeypatch: pytest.MonkeyPatch) -> None:
    found = mixed(monkeypatch, posterior(1.4, -10.0, 40.0), posterior(-1.7, -11.0, 20.0))
    shares = found.column("link_in_loop")
    # independent: scipy's logistic function of the two logits.
    assert shares == pytest.approx(np.repeat(expit([1.4, -1.7]), 50))
    assert found.column("memory_s") == pytest.approx(np.exp(4.0))
    assert set(found.fixed) == {"link_in_loop"}


def test_layouts_that_leave_other_parameters_free_are_not_mixed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    other = posterior(0.0, -10.0, 40.0, names=("cooler_w_k", "memory_s"))
    with pytest.raises(ValueError, match="same parameters free"):
        mixed(monkeypatch, posterior(1.4, -10.0, 40.0), other)


@pytest.mark.parametrize("count", [60, 120])
def test_a_range_of_few_draws_holds_a_new_one_as_often_as_it_says(count: int) -> None:
    rng = np.random.default_rng(9)
    held = 0
    for _ in range(4000):
        *draws, new = rng.standard_normal(count + 1)
        span = span_of(np.array(draws))
        held += span.low <= new <= span.high
    # independent: 95 %, whose share of 4000 scatters by 0.34 %; three times that. The usual
    # quantiles hold 92 % of 60.
    assert held / 4000 == pytest.approx(0.95, abs=0.0105)
