"""Switch channels that ten minutes of temperatures contradict, while the outing is recorded.

A wrong channel costs the outing its watts, and is mended in minutes while the machine is there.
No fit is needed here, so only plain cases are found; `prove` finds more. Thresholds are common
practice, no source.
"""

import math
from collections import deque
from collections.abc import Iterator

from wattsump_logger.machine.profile import Profile
from wattsump_logger.remark import Remark
from wattsump_logger.watch.look import Look

__all__ = ("Denials",)

_SPACING_S, _WINDOW_S, _LONGEST_GAP_S = 10.0, 600.0, 60.0
_HOT_K, _WARM_K = 20.0, 15.0  # oil over air
_COLDER_K, _OFFSET_K, _LEAST_DROP_K = 5.0, 1.5, 2.2
_WARMED_K, _PUMPED_K = 1.5, 0.3  # in each half of the window
# A core without its fan passes a tenth; at idle the share of the heat is up to three times as high.
_COOLING, _IDLING = 0.7, 0.25
_AS_COLD_K = 2.0
# The heater's share of its watts that must arrive, against more heat capacity than any machine
# of that oil and metal has; a tank hardly warmer than the air loses little of it.
_ARRIVES, _OIL_J_M3K, _METAL_J_KGK, _LEAST_RISE_K, _COOL_K = 0.5, 1.8e6, 900.0, 1.0, 10.0


class Denials:
    """Keeps ten minutes of looks and names each channel that they contradict."""

    def __init__(self, profile: Profile | None = None) -> None:
        self._profile = profile
        self._kept: deque[tuple[float, Look]] = deque()
        self._cooled: tuple[float, float] | None = None  # highest share with the fan, inlet then
        self._denied: tuple[Remark, ...] = ()

    def take(self, look: Look) -> tuple[Remark, ...]:
        """Take a look; return what stands after it."""
        now_s, kept = look.elapsed_s, self._kept
        if now_s is None or not look.values:
            return self._denied
        if kept and 0.0 <= now_s - kept[-1][0] < _SPACING_S:
            return self._denied
        if kept and not 0.0 <= now_s - kept[-1][0] <= _LONGEST_GAP_S:
            kept.clear()
            self._cooled = None
        kept.append((now_s, look))
        while len(kept) > 1 and kept[1][0] <= now_s - _WINDOW_S:
            kept.popleft()
        is_full = kept[0][0] <= now_s - _WINDOW_S
        self._denied = tuple(self._judged()) if is_full else ()
        return self._denied

    def _always(self, role: str, state: bool) -> bool:
        return all(look.is_on(role) is state for _, look in self._kept)

    def _unheated(self) -> bool:
        has_none = self._profile is not None and self._profile.heater is None
        return self._always("heater", False) or (has_none and not self._kept[0][1].column("heater"))

    def _read(self, role: str) -> list[float]:
        """Return the readings of a role, NaN for none: comparisons with it are false."""
        readings = (look.read(role) for _, look in self._kept)
        return [float("nan") if value is None else value for value in readings]

    def _judged(self) -> Iterator[Remark]:
        tank, air = self._read("tank"), self._read("ambient")
        inlet, outlet = self._read("cooler_in"), self._read("cooler_out")
        hot = all(oil - cold > _HOT_K for oil, cold in zip(inlet, air, strict=True))
        half = len(tank) // 2
        rises_k = tank[half] - tank[0], tank[-1] - tank[half]
        if self._always("engine", False):
            if self._always("drive", True):
                yield Remark(
                    code="drive-without-engine",
                    text="engine or drive channel wrong: ten minutes of drive without engine",
                )
            passed = all(
                i - o > _LEAST_DROP_K and i > t - 1.0
                for i, o, t in zip(inlet, outlet, tank, strict=True)
            )
            least_k = _PUMPED_K if hot and passed else _WARMED_K
            warms = all(rise_k > least_k for rise_k in rises_k)
            if self._unheated() and warms and tank[0] > air[0] - 2.0:
                yield Remark(
                    code="warms-with-engine-off",
                    text="engine channel off for ten minutes while the tank warms: it is wrong, or "
                    "a heater is not logged",
                )
            if self._always("heater", True) and tank[-1] - air[-1] < _COOL_K:
                expected_k = self._heated_k()
                if expected_k > _LEAST_RISE_K and tank[-1] - tank[0] < expected_k:
                    yield Remark(
                        code="no-heat-from-heater",
                        text="heater channel on for ten minutes and the tank does not warm by half "
                        "its watts: it is off, or the channel is wrong",
                    )
        elif self._always("engine", True):
            heated = any(look.is_on("heater") for _, look in self._kept)
            # A probe on its pipe's wall is behind oil that warms quickly.
            rose_k = tank[-1] - tank[0]
            if (
                not heated
                and rose_k < 2.0 * _COLDER_K
                and all(
                    t - a > _WARM_K and i < t - _COLDER_K
                    for i, t, a in zip(inlet, tank, air, strict=True)
                )
            ):
                yield Remark(
                    code="cold-cooler-with-engine-on",
                    text="engine channel on for ten minutes while the oil at the cooler is cold: "
                    "none is pumped there",
                )
            if hot:
                yield from self._fan(inlet, outlet, air)

    def _heated_k(self) -> float:
        """Return by how much the heater has to have warmed the machine at least."""
        profile, look = self._profile, self._kept[-1][1]
        if profile is None or profile.heater is None:
            return 0.0
        metered = look.column("heater").endswith("_w")
        power_w = (look.read("heater") or 0.0) if metered else profile.heater.power_w
        oil_j_k = _OIL_J_M3K * profile.oil.volume_m3
        metal_j_k = _METAL_J_KGK * sum(part.mass_kg for part in profile.metal)
        return _ARRIVES * power_w * _WINDOW_S / (oil_j_k + max(metal_j_k, oil_j_k))

    def _fan(self, inlet: list[float], outlet: list[float], air: list[float]) -> Iterator[Remark]:
        inlet_c, excess = sum(inlet) / len(inlet), sum(inlet) - sum(air)
        share, doubt = (sum(inlet) - sum(outlet)) / excess, _OFFSET_K * len(inlet) / excess
        if math.isnan(share):  # an outlet not read must not become the highest share
            return
        if self._always("fan", True):
            if self._cooled is None or share > self._cooled[0]:
                self._cooled = share, inlet_c
            high, then_c = self._cooled
            if share + doubt < _IDLING * high and inlet_c > then_c - _AS_COLD_K:
                yield Remark(
                    code="uncooled-with-fan-on",
                    text="fan channel on for ten minutes while the cooler takes hardly any heat "
                    "out of the oil: the fan does not turn, or the channel is wrong",
                )
        elif (
            self._always("fan", False)
            and self._cooled is not None
            and share - doubt > _COOLING * self._cooled[0]
        ):
            yield Remark(
                code="cooled-with-fan-off",
                text="fan channel off for ten minutes while the cooler takes as much heat out "
                "of the oil as with its fan: the channel is wrong",
            )
