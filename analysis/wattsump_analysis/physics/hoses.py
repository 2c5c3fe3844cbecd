"""Hoses and fittings of the cooler's circuit: volume, oil velocity and working pressure.

A fitting's dash number is tube outside diameter in sixteenths of an inch; a hose's is nominal
bore in sixteenths. The two are not the same bore.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from wattsump_analysis.arrays import require
from wattsump_logger.errors import UsageError

__all__ = (
    "COMMON_VELOCITY_M_S",
    "FLARE_SIZES",
    "HOSE_WORKING_PRESSURE_PA",
    "FlareSize",
    "Hose",
    "Line",
    "added_fill_m3",
    "flare_size",
    "hose_bore_m",
    "hose_volume_m3",
    "hose_working_pressure_pa",
    "poured_m3",
    "pressure_use",
    "velocity_judgement",
    "velocity_m_s",
)

Line = Literal["suction", "return", "pressure"]

INCH_M = 0.0254
PSI_PA = 6894.757293168


@dataclass(frozen=True, slots=True, kw_only=True)
class FlareSize:
    """A 37° flare size: dash, tube outside diameter [m], thread, nut hexagon [in]."""

    dash: int
    tube_od_m: float
    thread: str
    nut_hex_in: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hose:
    """A hose by its length and bore [m]."""

    bore_m: float
    length_m: float


# SAE J514 (J514/1) and ISO 8434-2: thread by dash size; hexagons as printed in two machine
# manuals, where given. Tightening torques differ between makers, so none are given.
FLARE_SIZES = tuple(
    FlareSize(dash=dash, tube_od_m=dash / 16.0 * INCH_M, thread=thread, nut_hex_in=hexagon)
    for dash, thread, hexagon in (
        (3, "3/8-24", "7/16"),
        (4, "7/16-20", "9/16"),
        (5, "1/2-20", "5/8"),
        (6, "9/16-18", "11/16"),
        (8, "3/4-16", "7/8"),
        (10, "7/8-14", "1"),
        (12, "1 1/16-12", "1 1/4"),
        (14, "1 3/16-12", "1 3/8"),
        (16, "1 5/16-12", "1 1/2"),
        (20, "1 5/8-12", None),
        (24, "1 7/8-12", None),
        (32, "2 1/2-12", None),
    )
)

# Common practice, no one source: oil velocity in m/s.
COMMON_VELOCITY_M_S: dict[Line, tuple[float, float]] = {
    "suction": (0.5, 1.5),
    "return": (2.0, 4.0),
    "pressure": (3.0, 10.0),
}

# SAE J517, largest working pressure by hose and dash, psi; from memory. The print on the hose
# decides, and its fittings may be rated lower.
_HOSE_PSI = {
    "100R4": {12: 300, 16: 250, 20: 200, 24: 150, 32: 100},
    "100R6": {4: 400, 5: 400, 6: 400, 8: 400, 10: 350, 12: 300},
    "100R3": {4: 1250, 5: 1200, 6: 1125, 8: 1000, 10: 875, 12: 750, 16: 565, 20: 375},
    "100R1": {4: 2750, 6: 2250, 8: 2000, 10: 1500, 12: 1250, 16: 1000, 20: 625, 24: 500, 32: 375},
}
HOSE_WORKING_PRESSURE_PA = {
    hose: {dash: psi * PSI_PA for dash, psi in sizes.items()} for hose, sizes in _HOSE_PSI.items()
}


def flare_size(dash: int) -> FlareSize | None:
    """Return the 37° flare size of a dash number; None if the standard has none.

    -8 and 8 are the same size.

    References
    ----------
    SAE J514 (J514/1:2021); ISO 8434-2.
    """
    return next((size for size in FLARE_SIZES if size.dash == abs(dash)), None)


def hose_bore_m(dash: int) -> float:
    """Nominal bore of a hose [m]: a dash is a sixteenth of an inch.

    Raises
    ------
    RangeError
        A dash number outside 2 to 64.

    References
    ----------
    SAE J517, nominal sizes; real bores are a few per cent off.
    """
    require(float(abs(dash)), 2.0, 64.0, unit="sixteenths", where="hose dash size")
    return abs(dash) / 16.0 * INCH_M


def velocity_m_s(flow_m3_s: float, bore_m: float) -> float:
    """Mean oil velocity in a bore [m/s].

    Parameters
    ----------
    flow_m3_s : float
        Flow [m³/s].
    bore_m : float
        Inside diameter [m].

    Returns
    -------
    float
        Velocity [m/s].

    Raises
    ------
    RangeError
        A negative flow, or a bore that is not above 0 and under half a metre.

    References
    ----------
    Continuity: v = 4 Q/(pi d²), the trade's 21.22 Q/d² in L/min and mm.
    """
    require(flow_m3_s, 0.0, math.inf, unit="m³/s", where="line flow")
    require(bore_m, 0.0, 0.5, unit="m", where="line bore", open_low=True)
    return 4.0 * flow_m3_s / (math.pi * bore_m**2)


def velocity_judgement(
    line: Line, velocity: float
) -> Literal["below common practice", "within common practice", "above common practice"]:
    """Compare a velocity [m/s] with common practice for its line.

    References
    ----------
    `COMMON_VELOCITY_M_S`; common practice, no one source.
    """
    low, high = COMMON_VELOCITY_M_S[line]
    if velocity < low:
        return "below common practice"
    return "within common practice" if velocity <= high else "above common practice"


def hose_volume_m3(bore_m: float, length_m: float) -> float:
    """Oil a hose holds [m³].

    Raises
    ------
    RangeError
        A bore that is not above 0 and under half a metre, or a negative length.

    References
    ----------
    Volume of a cylinder.
    """
    require(bore_m, 0.0, 0.5, unit="m", where="line bore", open_low=True)
    require(length_m, 0.0, 1000.0, unit="m", where="hose length")
    return math.pi / 4.0 * bore_m**2 * length_m


def added_fill_m3(hoses: Sequence[Hose], core_m3: float) -> float:
    """Oil that a cooler and its hoses add to the circuit, and so to the heat capacity [m³].

    Raises
    ------
    RangeError
        A negative core volume or hose.

    References
    ----------
    `hose_volume_m3`.
    """
    require(core_m3, 0.0, 1.0, unit="m³", where="cooler core volume")
    return core_m3 + sum(hose_volume_m3(hose.bore_m, hose.length_m) for hose in hoses)


def poured_m3(containers: float, container_m3: float, left_m3: float = 0.0) -> float:
    """Oil poured in, counted in containers, less the rest of the last container [m³].

    Raises
    ------
    RangeError
        Negative counts, or a rest larger than a container.

    References
    ----------
    None: it is a count.
    """
    require(containers, 0.0, math.inf, unit="containers", where="containers poured")
    require(container_m3, 0.0, 10.0, unit="m³", where="container", open_low=True)
    require(left_m3, 0.0, container_m3, unit="m³", where="left in the last container")
    return containers * container_m3 - left_m3


def hose_working_pressure_pa(hose: str, dash: int) -> float:
    """Largest working pressure of a hose by SAE designation and dash size [Pa].

    Raises
    ------
    UsageError
        A designation or size that is not in the table.

    References
    ----------
    SAE J517, from memory; the print on the hose decides.
    """
    sizes = HOSE_WORKING_PRESSURE_PA.get(hose.strip().upper().removeprefix("SAE").strip())
    if sizes is None:
        raise UsageError(
            expected="one of " + ", ".join(HOSE_WORKING_PRESSURE_PA),
            found=repr(hose),
            where="hose pressure class",
            do="read the working pressure printed on the hose",
        )
    if abs(dash) not in sizes:
        listed = "; ".join(
            f"{name} " + " ".join(f"-{size}" for size in rows)
            for name, rows in HOSE_WORKING_PRESSURE_PA.items()
        )
        raise UsageError(
            expected=f"one of {listed}",
            found=f"{hose} -{abs(dash)}",
            where="hose pressure class",
            do="read the working pressure printed on the hose",
        )
    return sizes[abs(dash)]


def pressure_use(line_pressure_pa: float, working_pressure_pa: float) -> float:
    """Share of a hose's working pressure that a line uses [-]; above 1 the hose must be replaced.

    Raises
    ------
    RangeError
        A negative line pressure or a working pressure that is not positive.

    References
    ----------
    Definition. Peaks on a cold start count, not the warm gauge reading.
    """
    require(line_pressure_pa, 0.0, math.inf, unit="Pa", where="line pressure")
    require(working_pressure_pa, 0.0, math.inf, unit="Pa", where="working pressure", open_low=True)
    return line_pressure_pa / working_pressure_pa
