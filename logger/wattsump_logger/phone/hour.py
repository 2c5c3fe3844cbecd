"""The last hour of each temperature, for the page's curves."""

import math
from collections import deque
from collections.abc import Mapping
from typing import Any

__all__ = ("Hour",)

HOUR_S = 3600.0
BIN_S = 10.0
MOST_CURVES = 16


class Hour:
    """The highest reading of each ten seconds of the last hour, by channel; bounded."""

    def __init__(self) -> None:
        self._bins: deque[tuple[float, dict[str, float]]] = deque(maxlen=round(HOUR_S / BIN_S))

    def take(self, state: Mapping[str, Any]) -> None:
        """Take the newest state; start again when its time goes back, with another outing."""
        elapsed_s = state.get("elapsed_s")
        if elapsed_s is None:
            return
        if self._bins and elapsed_s < self._bins[-1][0]:
            self._bins.clear()
        start_s = math.floor(elapsed_s / BIN_S) * BIN_S
        if not self._bins or start_s > self._bins[-1][0]:
            self._bins.append((start_s, {}))
        highest = self._bins[-1][1]
        for gauge in state["gauges"][:MOST_CURVES]:
            value = gauge["value_c"]
            if value is not None:
                highest[gauge["name"]] = max(value, highest.get(gauge["name"], value))

    def curves(self) -> list[list[Any]]:
        """Return [time s, {channel: °C}] of each bin, oldest first."""
        return [[start_s, highest] for start_s, highest in self._bins]
