"""A machine to practise on: Bracken's plant, driven by keys, read as by a real controller.

Nothing is hot and nothing turns. What the keys do is what a driver does, and what goes wrong
in the field; `PracticeMachine` is a source of channel values for an emulated controller.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from wattsump_analysis.emulation.bracken import BOARD_C, WIRE_CHANNELS, WORKING_RPM, demo_machine
from wattsump_analysis.emulation.plant import Controls, Plant
from wattsump_analysis.emulation.rehearsal import STEP_S
from wattsump_logger.machine.profile import Profile
from wattsump_logger.wire.events import WireChannel

__all__ = ("CHANNELS", "KEYS", "PracticeMachine")

CHANNELS = (*WIRE_CHANNELS, WireChannel(name="heater", source="value", detail="w"))
# In neutral a charge pump alone puts heat in: 18 bar at 12 L/min; common practice, no source.
NEUTRAL_LOAD_W, WORK_LOAD_W = 360.0, 3600.0
AMBIENT_C = 19.0
BLOCKED_SHARE = 0.4  # of the air side of a core full of chaff
NOISE_K = 0.06
# Without flow the fittings at the cooler, mostly the outlet's, drift towards the air; common
# practice, no source.
STANDING_TAU_S = 300.0
_AIR_SHARE = (0.4, 0.6)  # of inlet and outlet
SEED = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class _Key:
    """One key: which switch it turns, and the words for it on and off."""

    switch: str
    on: str
    off: str


KEYS: Mapping[str, _Key] = {
    "e": _Key(switch="engine", on="engine running", off="engine stopped"),
    "d": _Key(switch="drive", on="drive turning at working speed", off="drive standing"),
    "f": _Key(switch="fan", on="fan on", off="fan off"),
    "h": _Key(switch="heater", on="heater on", off="heater off"),
    "b": _Key(switch="blocked", on="core blocked with chaff", off="core clean"),
    "p": _Key(switch="probe", on="tank probe broken off", off="tank probe back"),
    "u": _Key(switch="silent", on="controller silent", off="controller talking again"),
}


class PracticeMachine:
    """Bracken at rest in the morning; `press` turns its switches.

    Parameters
    ----------
    profile : Profile
        The machine's; the plant is near it and not the same.
    """

    def __init__(self, profile: Profile) -> None:
        self._machine = demo_machine(profile)
        self._plant = Plant(self._machine, np.array([AMBIENT_C]))
        self._heater_w = profile.heater.power_w if profile.heater else 500.0
        self._is_on = dict.fromkeys((key.switch for key in KEYS.values()), False)
        self._at_s = 0.0
        self._fittings_c = (AMBIENT_C, AMBIENT_C)
        self._rng = np.random.default_rng(SEED)

    @property
    def is_silent(self) -> bool:
        """Whether the controller says nothing at the moment."""
        return self._is_on["silent"]

    @property
    def tank_c(self) -> float:
        """True temperature of the oil in the tank."""
        return float(self._plant.temps_c[0, 0])

    def press(self, char: str) -> str:
        """Turn the switch of a key; return what is so now, "" for a key without one."""
        key = KEYS.get(char.lower())
        if key is None:
            return ""
        self._is_on[key.switch] = not self._is_on[key.switch]
        if key.switch == "engine" and not self._is_on["engine"]:
            self._is_on["drive"] = False
        return key.on if self._is_on[key.switch] else key.off

    def values(self, elapsed_s: float) -> dict[str, float | str | None]:
        """Let the plant run to this time, and return what its channels are."""
        while self._at_s + STEP_S <= elapsed_s:
            self._plant.step(self._controls(), STEP_S)
            self._at_s += STEP_S
            self._follow()
        is_on, temps = self._is_on, self._plant.temps_c[:, 0]
        engine = is_on["engine"]
        read = {
            "tank": temps[0],
            "cooler_in": self._fittings_c[0],
            "cooler_out": self._fittings_c[1],
            "case_drain": 0.5 * (temps[1] + temps[2]),
            "ambient": AMBIENT_C,
        }
        noise = NOISE_K * self._rng.standard_normal(len(read))
        seen: dict[str, float | str | None] = {
            name: float(value + error)
            for (name, value), error in zip(read.items(), noise, strict=True)
        }
        if is_on["probe"]:
            seen["tank"] = "fault:open"
        return {
            **seen,
            "fan": float(is_on["fan"]),
            "engine": WORKING_RPM * engine,
            "drive": float(engine and is_on["drive"]),
            "heater": self._heater_w * is_on["heater"],
            "board": BOARD_C,
        }

    def _follow(self) -> None:
        """Let the fittings at the cooler follow the oil that flows, or drift while it stands."""
        loop_c = float(self._plant.temps_c[1, 0])
        if self._is_on["engine"]:
            self._fittings_c = (loop_c, float(self._plant.flows.cooler_out_c[0]))
            return
        inlet_c, outlet_c = (
            fitting_c
            + STEP_S / STANDING_TAU_S * (loop_c + share * (AMBIENT_C - loop_c) - fitting_c)
            for fitting_c, share in zip(self._fittings_c, _AIR_SHARE, strict=True)
        )
        self._fittings_c = inlet_c, outlet_c

    def _controls(self) -> Controls:
        is_on = self._is_on
        load_w = (WORK_LOAD_W if is_on["drive"] else NEUTRAL_LOAD_W) * is_on["engine"]
        fan = float(is_on["fan"]) * (BLOCKED_SHARE if is_on["blocked"] else 1.0)
        return Controls(
            ambient_c=np.array([AMBIENT_C]),
            engine=np.array([float(is_on["engine"])]),
            moving=np.array([float(is_on["engine"] and is_on["drive"])]),
            fan=np.array([fan]),
            load_w=np.array([load_w]),
            heater_w=np.array([self._heater_w * is_on["heater"]]),
        )
