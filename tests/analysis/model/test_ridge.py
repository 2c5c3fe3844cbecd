"""Coordinates along a ridge: there and back, slopes, volumes, and parameters that are not there."""

import numpy as np
import pytest

from wattsump_analysis.model.ridge import Ridge
from wattsump_analysis.statistics.draws import Part, drawn_from
from wattsump_logger.arrays import FloatArray

NAMES = ("tank_heat", "cooler_w_k", "past_cooler")


def bent(theta: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Minus the log of: priors of deviation 1.3, and a sum of two odds known to a twentieth."""
    odds = np.exp(theta[:, [0, 2]])
    off = (np.log(odds.sum(axis=1)) + 2.0) / 0.05
    pulls = theta + np.array([2.8, 0.0, 2.8])
    values = 0.5 * off**2 + 0.5 * np.sum((pulls / [1.3, 1.0, 1.3]) ** 2, axis=1)
    slopes = pulls / np.square([1.3, 1.0, 1.3])
    slopes[:, [0, 2]] += (off / 0.05 / odds.sum(axis=1))[:, np.newaxis] * odds
    return values, slopes


def test_parameters_come_back_from_their_coordinates() -> None:
    theta = np.random.default_rng(1).normal(scale=3.0, size=(9, 3))
    ridge = Ridge(NAMES)
    np.testing.assert_allclose(ridge.across(ridge.along(theta)), theta, atol=1e-12)
    # independent: the definition, a logarithm of a sum and a difference.
    u, v = ridge.along(theta)[0, [2, 0]]
    assert u == pytest.approx(np.log(np.exp(theta[0, 2]) + np.exp(theta[0, 0])))
    assert v == pytest.approx(theta[0, 2] - theta[0, 0])


def test_slopes_are_difference_quotients_and_volumes_stay() -> None:
    ridge = Ridge(NAMES)
    points = np.random.default_rng(2).normal(size=(4, 3))
    density = ridge.slopes(bent)
    _, slopes = density(points)
    steps = 1e-6 * np.eye(3)
    # independent: differences of the values, and of the parameters.
    for axis, step in enumerate(steps):
        quotient = (density(points + step)[0] - density(points - step)[0]) / 2e-6
        np.testing.assert_allclose(slopes[:, axis], quotient, rtol=1e-5, atol=1e-5)
    moved = [ridge.across(points + s) - ridge.across(points - s) for s in steps]
    turned = np.array(moved) / 2e-6
    np.testing.assert_allclose(np.abs(np.linalg.det(np.moveaxis(turned, 1, 0))), 1.0, rtol=1e-6)


def test_a_ridge_that_bends_is_drawn_from_at_both_ends() -> None:
    ridge = Ridge(NAMES)
    start = Part(share=1.0, centre=np.array([-2.1, 0.0, -4.5]), covariance=0.01 * np.eye(3))
    drawn = drawn_from(ridge.slopes(bent), [ridge.part(start)], np.random.default_rng(3))
    theta = ridge.across(drawn.points)
    # independent: the two odds have the same prior and the same part in the sum, so each is the
    # greater in half of the draws; to four errors of 200 effective ones.
    assert np.mean(theta[:, 0] > theta[:, 2]) == pytest.approx(0.5, abs=4 * 0.5 / np.sqrt(200))


def test_without_one_of_the_pair_coordinates_are_the_parameters() -> None:
    ridge = Ridge(("cooler_w_k", "tank_heat"))
    theta = np.array([[1.0, 2.0], [3.0, -4.0]])
    assert np.array_equal(ridge.along(theta), theta)
    assert np.array_equal(ridge.across(theta), theta)
    part = Part(share=0.5, centre=theta[0], covariance=np.eye(2))
    assert np.array_equal(ridge.part(part).covariance, np.eye(2))
