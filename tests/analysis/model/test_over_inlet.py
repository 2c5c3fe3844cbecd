"""K over the oil into the cooler from K over the tank."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from wattsump_analysis.model.case import Gaussian
from wattsump_analysis.model.fit import _over_inlet


def test_a_tank_alone_gives_the_label_a_smaller_k_by_the_oils_rise_in_the_drive() -> None:
    n = 8
    record = SimpleNamespace(fan=np.ones(n), engine=np.ones(n), flow_w_k=None)
    network: Any = SimpleNamespace(record=record, base_c=np.full(n, 60.0))
    smooth: Any = SimpleNamespace(
        heat_w=np.full(n, 3000.0),
        cooler_w=np.full(n, 2400.0),
        shell_w=np.full(n, 200.0),
    )
    oil_flow = Gaussian(mean=float(np.log(600.0)), sd=0.0)
    rng = np.random.default_rng(1)
    (result,) = _over_inlet(network, smooth, np.array([60.0]), oil_flow, rng)
    # independent: tank 2400 / 60 = 40 K over the air; (3000 - 100) / 600 = 4.83 K more go in;
    # 2400 / 44.83.
    assert result == pytest.approx(53.53, abs=0.01)
    spread = _over_inlet(
        network, smooth, np.full(4000, 60.0), Gaussian(mean=oil_flow.mean, sd=0.6), rng
    )
    assert np.median(spread) == pytest.approx(53.53, abs=0.5)
    assert np.quantile(spread, 0.975) < 60.0
    # independent: the same 600 W/K as a metered 500 with a factor of 1.2 on it.
    record.flow_w_k = np.full(n, 500.0)
    factor = Gaussian(mean=float(np.log(1.2)), sd=0.0)
    assert _over_inlet(network, smooth, np.array([60.0]), factor, rng) == pytest.approx(
        53.53, abs=0.01
    )
    record.fan[:] = 0.0
    assert _over_inlet(network, smooth, np.array([60.0]), oil_flow, rng) == pytest.approx(60.0)
