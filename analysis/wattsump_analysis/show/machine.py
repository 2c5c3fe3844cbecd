"""Lines on how a machine profile was understood, and what each missing entry costs."""

import math
import textwrap
from collections.abc import Iterator

from wattsump_analysis.physics.drive import HEAT_SHARES, drive_loss_w
from wattsump_analysis.reading.machine import (
    bare_pipes,
    contact_of,
    metal_capacity_j_k,
    oil_capacity_j_k,
    stated_flow,
)
from wattsump_logger.machine.profile import Profile, Role
from wattsump_logger.units.quantities import show
from wattsump_logger.width import columns

__all__ = ("machine_lines",)

REFERENCE_C = 60.0
_INDENT = 18
USUAL_DIFFERENCE_K = 40.0  # oil in over air in; common practice, no source
# What slipped units leave: W for kW, an oil temperature for a difference, t for kg, L/s for L/min.
# Common practice, no source: wide around every machine, a cooler in a case drain included.
_USUAL_K_W_K, _MOST_DIFFERENCE_K = (3.0, 10_000.0), 80.0
_USUAL_SHARE_OF_METAL, _USUAL_TURN_S = (0.05, 0.95), (5.0, 4 * 3600.0)
WORTH_TELLING = 0.02  # of the width: a smaller gain is not worth a line


def machine_lines(profile: Profile, units: str = "si") -> Iterator[str]:
    """Yield the lines: the machine as understood, then missing entries and their cost.

    Parameters
    ----------
    profile : Profile
        The machine.
    units : {"si", "us"}
        Units of display.
    """
    yield profile.name
    for rows in (
        _capacity(profile, units),
        _label(profile, units),
        _drive(profile, units),
        _beside(profile, units),
        _channels(profile),
        _mounts(profile),
        _missing(profile),
        _doubtful(profile, units),
    ):
        for row in rows:
            yield from textwrap.wrap(row, columns(), subsequent_indent=" " * _INDENT)


def _row(name: str, text: str) -> str:
    return f"  {name:<{_INDENT - 3}} {text}"


def _half(u_rel: float) -> str:
    return f"±{200.0 * u_rel:.0f} %"  # twice the standard uncertainty, JCGM 100:2008, G.6.6


def _capacity(profile: Profile, units: str) -> Iterator[str]:
    oil = profile.oil
    oil_j_k, u_oil = oil_capacity_j_k(profile, REFERENCE_C)
    metal_j_k, u_metal = metal_capacity_j_k(profile)
    volume = show(oil.volume_m3, "volume", units)
    if oil_j_k is None:
        yield _row("oil", f"{volume} of {oil.grade}, volume not known: no heat capacity")
        return
    yield _row(
        "oil", f"{volume} of {oil.grade}: {show(oil_j_k, 'heat_capacity', units)} {_half(u_oil)}"
    )
    if metal_j_k is None:
        yield _row("metal", "none listed")
        return
    mass_kg = sum(part.mass_kg for part in profile.metal)
    yield _row(
        "metal",
        f"{show(mass_kg, 'mass', units)} in {len(profile.metal)} parts: "
        f"{show(metal_j_k, 'heat_capacity', units)} {_half(u_metal)}",
    )
    whole = oil_j_k + metal_j_k
    u_whole = math.hypot(u_oil * oil_j_k, u_metal * metal_j_k) / whole
    yield _row(
        "together",
        f"{show(whole, 'heat_capacity', units)} {_half(u_whole)}, "
        f"{100 * metal_j_k / whole:.0f} % of it in metal",
    )


def _label(profile: Profile, units: str) -> Iterator[str]:
    cooler = profile.cooler
    if cooler.label_heat_w is None:
        yield _row("label", "no heat stated" if cooler.fitted else "no cooler fitted")
        return
    heat = show(cooler.label_heat_w, "power", units)
    if cooler.label_etd_k is None:
        yield _row("label", f"{heat}, its temperature difference not printed")
        return
    k_w_k = cooler.label_heat_w / cooler.label_etd_k
    difference = show(cooler.label_etd_k, "temperature_difference", units)
    usual = show(USUAL_DIFFERENCE_K, "temperature_difference", units)
    at_usual = f", which is {show(k_w_k * USUAL_DIFFERENCE_K, 'power', units)} at {usual}"
    yield _row(
        "label",
        f"{heat} at {difference} oil over air: {show(k_w_k, 'conductance', units)}"
        + at_usual * (difference != usual),
    )


def _drive(profile: Profile, units: str) -> Iterator[str]:
    drive, cooler = profile.drive, profile.cooler
    if drive.power_w is None:
        return
    if drive.pump_efficiency is not None and drive.motor_efficiency is not None:
        low_w = high_w = drive_loss_w(drive.power_w, drive.pump_efficiency, drive.motor_efficiency)
        heat = show(low_w, "power", units)
    else:
        low_w = min(share.low for share in HEAT_SHARES) * drive.power_w
        high_w = max(share.high for share in HEAT_SHARES) * drive.power_w
        heat = f"{show(low_w, 'power', units)} to {show(high_w, 'power', units)} (rule of thumb)"
    yield _row(
        "drive heat", f"{heat} of {show(drive.power_w, 'shaft_power', units)}, at full power"
    )
    if cooler.label_heat_w is None or cooler.label_etd_k is None:
        return
    per_k = cooler.label_heat_w / cooler.label_etd_k
    needed = [show(w / per_k, "temperature_difference", units) for w in (low_w, high_w)]
    over = needed[0] if low_w == high_w else f"{needed[0]} to {needed[1]}"
    yield _row("", f"the label carries that with the oil {over} over the air")


def _beside(profile: Profile, units: str) -> Iterator[str]:
    """Yield what is stated of the cooler's flow and fan, and of the heater."""
    flow, cooler, heater = stated_flow(profile), profile.cooler, profile.heater
    if flow is not None:
        by = "by pump displacement" if flow.of_pump else "as stated"
        speed = "" if flow.rpm is None else f" at {flow.rpm:.0f} r/min"
        yield _row("oil flow", f"{show(flow.flow_m3_s, 'flow', units)}{speed}, {by}")
    if cooler.fan_thermostat_c is not None:
        at = show(cooler.fan_thermostat_c, "temperature", units)
        yield _row("fan", f"by a thermostat at {at}; the proving run needs it switched by hand")
    elif cooler.fan_follows_oil:
        yield _row("fan", "speeds up with the oil: a proof needs it at its full speed")
    elif cooler.fan_with_engine:
        yield _row("fan", "turns whenever the engine does")
    if heater is not None:
        metered = ", metered" if heater.metered else ""
        yield _row("heater", show(heater.power_w, "power") + metered)


def _channels(profile: Profile) -> Iterator[str]:
    if profile.channels:
        each = ", ".join(
            name if name == channel.role.value else f"{name} ({channel.role.value})"
            for name, channel in profile.channels.items()
        )
        yield _row("channels", each)
    else:
        yield _row("channels", "by their names on the wire: tank, cooler_in, cooler_out, ...")


def _mounts(profile: Profile) -> Iterator[str]:
    """Yield how the probes at the cooler sit, as stated or as taken."""
    contact = contact_of(profile)
    inlet, outlet = (
        "in the oil" if contact[role.value] == (0.0, 0.0) else "outside the pipe, insulated"
        for role in (Role.COOLER_IN, Role.COOLER_OUT)
    )
    text = inlet if inlet == outlet else f"inlet {inlet}; outlet {outlet}"
    yield _row("cooler probes", "bare, not used for watts" if bare_pipes(profile) else text)


def _missing(profile: Profile) -> Iterator[str]:
    oil_j_k, u_oil = oil_capacity_j_k(profile, REFERENCE_C)
    metal_j_k, u_metal = metal_capacity_j_k(profile)
    if metal_j_k is None:
        yield _row("missing", "metal: about half of the heat is in it; no watts by temperatures")
    elif oil_j_k is not None:
        yield from _worth_knowing(oil_j_k, u_oil, metal_j_k, u_metal)
    if profile.cooler.label_heat_w is None:
        yield _row("missing", "label_heat: watts, but no verdict")
    elif profile.cooler.label_etd_k is None:
        yield _row("missing", "label_etd: the label may be at any of the trade's bases")
    if stated_flow(profile) is None:
        yield _row("missing", "oil flow: no second route to the watts to compare with")
    if profile.drive.power_w is None:
        yield _row("missing", "drive power: the label cannot be compared with the drive's heat")


def _worth_knowing(oil_j_k: float, u_oil: float, metal_j_k: float, u_metal: float) -> Iterator[str]:
    """Yield how much narrower the watts would be with oil measured, or metal weighed."""
    whole = oil_j_k + metal_j_k
    parts = {"the oil measured": u_oil * oil_j_k, "the metal weighed": u_metal * metal_j_k}
    now = math.hypot(*parts.values()) / whole
    for what, part in parts.items():
        better = math.sqrt(max(now**2 - (part / whole) ** 2, 0.0))
        if now - better > WORTH_TELLING / 2.0:
            yield _row(
                "worth knowing", f"{what}: {_half(now)} of the capacity become {_half(better)}"
            )


def _doubtful(profile: Profile, units: str) -> Iterator[str]:
    """Yield entries that no machine has, or hardly one: their units are to be looked at."""
    cooler, flow = profile.cooler, stated_flow(profile)
    oil_j_k, metal_j_k = oil_capacity_j_k(profile, REFERENCE_C)[0], metal_capacity_j_k(profile)[0]
    heat_w, difference_k = cooler.label_heat_w, cooler.label_etd_k
    if difference_k is not None and difference_k > _MOST_DIFFERENCE_K:
        shown = show(difference_k, "temperature_difference", units)
        yield _row("doubtful", f"label_etd {shown}: is it the oil's own temperature?")
    if heat_w is not None and not _within(
        heat_w / (difference_k or USUAL_DIFFERENCE_K), _USUAL_K_W_K
    ):
        yield _row("doubtful", f"label_heat {show(heat_w, 'power', units)}: is its unit right?")
    if oil_j_k is not None and metal_j_k is not None:
        share = metal_j_k / (oil_j_k + metal_j_k)
        if not _within(share, _USUAL_SHARE_OF_METAL):
            text = f"{100 * share:.0f} % of the warmth in metal: are volume and masses right?"
            yield _row("doubtful", text)
    if flow is not None and not _within(profile.oil.volume_m3 / flow.flow_m3_s, _USUAL_TURN_S):
        turn = show(profile.oil.volume_m3 / flow.flow_m3_s, "duration", units)
        yield _row("doubtful", f"oil flow: all the oil passes the cooler in {turn}")
    if cooler.fan_thermostat_c is not None and cooler.fan_thermostat_c > profile.limits.oil_max_c:
        limit = show(profile.limits.oil_max_c, "temperature", units)
        yield _row("doubtful", f"fan_thermostat: the fan begins above oil_max, {limit}")


def _within(value: float, bounds: tuple[float, float]) -> bool:
    return bounds[0] <= value <= bounds[1]
