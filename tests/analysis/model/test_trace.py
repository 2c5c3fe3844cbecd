"""Recorded arithmetic: what is left out, its slopes, and numbers from compiled text."""

import ctypes
from typing import Any

import numpy as np
import pytest
from llvmlite import binding

from wattsump_analysis.model.trace import LANES, Number, Trace, function, positive, root
from wattsump_logger.arrays import FloatArray


def run(trace: Trace, **arrays: FloatArray) -> None:
    """Run a record on arrays, as what comes before a loop of one turn."""
    text = function("f", dict.fromkeys(arrays, 0), [trace, Trace(), Trace()])
    binding.initialize_native_target()
    binding.initialize_native_asmprinter()
    machine = binding.Target.from_default_triple().create_target_machine()
    engine = binding.create_mcjit_compiler(binding.parse_assembly(text), machine)
    kinds = [ctypes.c_int64] * 2 + [ctypes.c_void_p] * len(arrays)
    call = ctypes.CFUNCTYPE(None, *kinds)(engine.get_function_address("f"))
    call(1, 0, *(array.ctypes.data for array in arrays.values()))


def test_what_zeros_and_ones_do_is_not_recorded() -> None:
    trace = Trace()
    (x,) = trace.loads("x", 1)
    assert x * 0.0 == 0.0
    assert 0.0 * x == 0.0
    assert x * 1.0 is x
    assert x + 0.0 is x
    assert x - 0.0 is x
    assert len(trace.operations) == 1


def test_compiled_numbers_are_those_of_python() -> None:
    trace = Trace()
    x, y = trace.loads("x", 2)
    (s,) = trace.shared("s", 1)
    made: list[Number] = [x + y, x - y, 2.5 - x, x * y * s, 1.0 / y, -x, root(y), positive(x), 0.25]
    trace.stores("out", made)
    values = np.random.default_rng(1).normal(size=(2, LANES))
    values[1] = np.abs(values[1])
    out = np.empty((len(made), LANES))
    run(trace, x=values, s=np.array([3.0]), out=out)
    a, b = values
    seen = [a + b, a - b, 2.5 - a, a * b * 3, 1 / b, -a, np.sqrt(b), np.where(a > 0, a, np.nan)]
    # independent: numpy, operation by operation; a product of three may be fused once.
    np.testing.assert_allclose(out[:-1], seen, rtol=1e-15)
    assert set(out[-1]) == {0.25}


def test_functions_of_numpy_are_those_of_numpy() -> None:
    trace = Trace()
    x: Any
    y: Any
    x, y = trace.loads("x", 2)
    made: list[Number] = [np.exp(x), np.maximum(x, y), np.minimum(x, 0.3), y**x, 2.0 * np.exp(-y)]
    trace.stores("out", made)
    values = np.random.default_rng(2).normal(scale=30.0, size=(2, LANES))
    values[1] = np.exp(values[1] / 10.0)
    out = np.empty((len(made), LANES))
    run(trace, x=values, out=out)
    a, b = values
    seen = [np.exp(a), np.maximum(a, b), np.minimum(a, 0.3), b**a, 2.0 * np.exp(-b)]
    # independent: numpy; a power of some hundred e-folds knows its last three digits less.
    np.testing.assert_allclose(out, seen, rtol=1e-13)


@pytest.mark.parametrize("many", [1.0, 1e3, 1e6])
def test_exponentials_and_logarithms_are_good_to_the_last_places(many: float) -> None:
    trace = Trace()
    (x,) = trace.loads("x", 1)
    trace.stores("out", [np.exp(x), (x * x) ** 0.5])
    values = np.linspace(-7.0, 7.0, LANES)[np.newaxis] * many / 1e6 * 100.0
    out = np.empty((2, LANES))
    run(trace, x=values, out=out)
    # independent: numpy.
    np.testing.assert_allclose(out, [np.exp(values[0]), np.abs(values[0])], rtol=2e-13)


def test_slopes_of_functions_are_those_of_the_calculus() -> None:
    trace = Trace()
    x: Any
    y: Any
    x, y = trace.loads("x", 2)
    whole = np.exp(x * y) + np.maximum(x, y) * 3.0 + x**y
    trace.stores("out", trace.slopes([(whole, 1.0)], [x, y]))
    values = 0.5 + np.random.default_rng(3).random((2, LANES))
    out = np.empty((2, LANES))
    run(trace, x=values, out=out)
    a, b = values
    # independent: by hand.
    np.testing.assert_allclose(
        out[0], b * np.exp(a * b) + 3.0 * (a > b) + b * a ** (b - 1.0), rtol=1e-12
    )
    np.testing.assert_allclose(
        out[1], a * np.exp(a * b) + 3.0 * (b >= a) + np.log(a) * a**b, rtol=1e-12
    )


def test_slopes_are_those_of_the_calculus() -> None:
    trace = Trace()
    x, y = trace.loads("x", 2)
    whole = 1.0 / (x * y - 3.0 * x) - positive(y) + (2.0 - x) * -y
    trace.stores("out", trace.slopes([(whole, 2.0)], [x, y]))
    values = 5.0 + np.random.default_rng(1).random((2, LANES))
    out = np.empty((2, LANES))
    run(trace, x=values, out=out)
    a, b = values
    inner = a * b - 3 * a
    # independent: by hand.
    np.testing.assert_allclose(out[0], 2 * (-(b - 3) / inner**2 + b), rtol=1e-13)
    np.testing.assert_allclose(out[1], 2 * (-a / inner**2 - 1 - (2 - a)), rtol=1e-13)


def test_what_is_added_stands_on_what_was_there() -> None:
    trace = Trace()
    (x,) = trace.loads("x", 1)
    trace.stores("out", [x, 0.0], add=True)
    out = np.array([[1.0] * LANES, [7.0] * LANES])
    run(trace, x=np.full((1, LANES), 2.0), out=out)
    # independent: 1 + 2 and 7 + 0, by hand.
    assert out[:, 0] == pytest.approx([1.0 + 2.0, 7.0])
