"""Coverage factors against the Guide's own table and worked examples."""

import math

import pytest

from wattsump_logger.errors import RangeError
from wattsump_logger.uncertainty import effective_dof, expanded, student_t

_LEVELS = (0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973)
# published: JCGM 100:2008, table G.2, as printed.
_G2 = {
    1: (1.84, 6.31, 12.71, 13.97, 63.66, 235.80), 2: (1.32, 2.92, 4.30, 4.53, 9.92, 19.21),
    3: (1.20, 2.35, 3.18, 3.31, 5.84, 9.22), 4: (1.14, 2.13, 2.78, 2.87, 4.60, 6.62),
    5: (1.11, 2.02, 2.57, 2.65, 4.03, 5.51), 6: (1.09, 1.94, 2.45, 2.52, 3.71, 4.90),
    8: (1.07, 1.86, 2.31, 2.37, 3.36, 4.28), 9: (1.06, 1.83, 2.26, 2.32, 3.25, 4.09),
    10: (1.05, 1.81, 2.23, 2.28, 3.17, 3.96), 16: (1.03, 1.75, 2.12, 2.17, 2.92, 3.54),
    20: (1.03, 1.72, 2.09, 2.13, 2.85, 3.42), 30: (1.02, 1.70, 2.04, 2.09, 2.75, 3.27),
    50: (1.01, 1.68, 2.01, 2.05, 2.68, 3.16), math.inf: (1.00, 1.645, 1.960, 2.00, 2.576, 3.00),
}  # fmt: skip


@pytest.mark.parametrize(
    ("dof", "level", "t"),
    [(dof, level, t) for dof, row in _G2.items() for level, t in zip(_LEVELS, row, strict=True)],
)
def test_coverage_factors_are_those_of_table_g2(dof: float, level: float, t: float) -> None:
    # published: the table above; half its last digit, and 68.27 % is itself rounded.
    assert student_t(level, dof) == pytest.approx(t, abs=0.0051 if t < 100 else 0.06)


@pytest.mark.parametrize(
    ("level", "dof", "t"),
    [
        (0.95, 1, 12.706204736175),
        (0.95, 7, 2.364624251593),
        (0.95, 100, 1.983971518524),
        (0.99, 16, 2.920781622425),
        (0.95, 1999, 1.961151420171),
    ],
)
def test_coverage_factors_have_full_precision(level: float, dof: int, t: float) -> None:
    # independent: SciPy 1.17 stats.t.ppf, 12 decimals.
    assert student_t(level, dof) == pytest.approx(t, abs=1e-9)


def test_degrees_of_freedom_are_cut_to_the_next_lower_whole_number() -> None:
    assert student_t(0.95, 16.99) == student_t(0.95, 16)


def test_the_guides_end_gauge_has_its_printed_uncertainty() -> None:
    components, dof = (25.0, 9.7, 2.9, 16.6), (18.0, 25.6, 50.0, 2.0)
    u, factor, nu = expanded(components, dof, 0.99)
    # published: JCGM 100:2008, H.1.6: 16.7 (one decimal), 2.92, and 93 nm from 32 x 2.92,
    # where 31.7 was rounded up first.
    assert nu == pytest.approx(16.7, abs=0.1)
    # published: as above.
    assert factor == pytest.approx(2.92, abs=0.005)
    # published: as above, with the rounding undone, 31.7 x 2.92.
    assert u == pytest.approx(31.7 * 2.92, abs=0.2)


def test_the_guides_g42_example_has_its_printed_uncertainty() -> None:
    u, factor, nu = expanded((0.25, 0.57, 0.82), (9.0, 4.0, 14.0))
    # published: JCGM 100:2008, G.4.2: 19.0, 2.09 and 2.2 %.
    assert nu == pytest.approx(19.0, abs=0.05)
    # independent: t of 18 degrees, since 18.999 is cut and not rounded as in the example.
    assert factor == pytest.approx(2.1009, abs=1e-3)
    # published: as above, one decimal.
    assert u == pytest.approx(2.2, abs=0.05)


def test_components_taken_as_known_leave_the_normal_factor() -> None:
    u, factor, nu = expanded((3.0, 4.0), (math.inf, math.inf))
    assert math.isinf(nu)
    # published: JCGM 100:2008, table G.2, last row, three decimals.
    assert factor == pytest.approx(1.960, abs=5e-4)
    # published: as above, times the root sum of squares, 5.
    assert u == pytest.approx(9.800, abs=3e-3)


def test_one_component_keeps_its_own_degrees_of_freedom() -> None:
    assert expanded((0.7,), (5.0,))[1] == student_t(0.95, 5)


@pytest.mark.parametrize(
    ("components", "dof"), [((1.0,), (1.0, 2.0)), ((-1.0,), (5.0,)), ((1.0,), (0.5,))]
)
def test_a_budget_that_cannot_be_is_refused(
    components: tuple[float, ...], dof: tuple[float, ...]
) -> None:
    with pytest.raises(RangeError, match="check the budget"):
        effective_dof(components, dof)


@pytest.mark.parametrize(("level", "dof"), [(0.0, 5), (1.0, 5), (0.95, 0.9), (0.95, math.nan)])
def test_a_level_or_degrees_of_freedom_that_cannot_be_are_refused(level: float, dof: float) -> None:
    with pytest.raises(RangeError, match="coverage factor"):
        student_t(level, dof)
