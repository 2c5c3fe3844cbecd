"""No verdict rests on a stated value that the readings push far from what was stated."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from wattsump_analysis.model.case import Gaussian
from wattsump_analysis.model.description import UNKNOWNS
from wattsump_analysis.proof.implausible import STATED_WORDS, denied_prior


def fitted_to(shift_sd: float, *, stated: bool = True, by_side: bool = False) -> Any:
    """A stretch whose oil flow, stated within 4 %, came out `shift_sd` of that away."""
    draws = 6.4 + 0.04 * (shift_sd + np.array([[-0.5], [0.0], [0.5]]))
    posterior = SimpleNamespace(
        names=("oil_flow_w_k",),
        priors={"oil_flow_w_k": Gaussian(mean=6.4, sd=0.04, stated=stated)},
        draws=draws,
    )
    return SimpleNamespace(fitted=SimpleNamespace(posterior=posterior), by_side=by_side)


@pytest.mark.parametrize("shift_sd", [-5.0, 5.0])
def test_a_value_five_uncertainties_from_what_was_stated_is_named(shift_sd: float) -> None:
    denied = denied_prior(fitted_to(shift_sd))
    assert denied is not None
    assert denied.code == "readings-deny-stated"


def test_three_uncertainties_are_chance() -> None:
    assert denied_prior(fitted_to(3.0)) is None


def test_several_values_that_give_way_together_are_as_good_as_one() -> None:
    stretch = fitted_to(2.5)
    one = stretch.fitted.posterior
    one.names, one.draws = ("oil_flow_w_k", "oil_j_k"), np.repeat(one.draws, 2, axis=1)
    one.priors["oil_j_k"] = one.priors["oil_flow_w_k"]
    denied = denied_prior(stretch)
    # independent: 2.5 in both are 3.54 together.
    assert denied is not None
    assert denied.code == "readings-deny-stated"
    one.draws = one.draws - 0.04 * 0.1
    assert denied_prior(stretch) is None  # 2.4 in both are 3.39


def test_a_weak_prior_may_give_way() -> None:
    assert denied_prior(fitted_to(5.0, stated=False)) is None


def test_what_an_earlier_piece_left_is_not_what_was_stated() -> None:
    stretch = fitted_to(5.0)
    stated = stretch.fitted.posterior.priors["oil_flow_w_k"]
    narrowed = Gaussian(mean=6.4 + 0.04 * 4.9, sd=0.02, stated=True, replaced=stated)
    stretch.fitted.posterior.priors["oil_flow_w_k"] = narrowed
    denied = denied_prior(stretch)
    assert denied is not None
    assert "5 standard uncertainties from what was stated" in denied.text


def test_a_k_that_the_oil_side_gave_hangs_on_no_fit() -> None:
    assert denied_prior(fitted_to(5.0, by_side=True)) is None


def test_every_unknown_that_can_be_stated_has_words() -> None:
    # Nobody states how near the engine is.
    assert {unknown.name for unknown in UNKNOWNS} - {"engine_w_k"} < set(STATED_WORDS)
