"""Signs in an outing of a wrong probe, of warm air at a probe, or of a bypass.

Each function looks at one record and returns a remark for the owner, or None. Nothing is
removed or corrected. Thresholds are common practice, no source; they are well above the effects
of drifting weather, a varying load and probes of class 2.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.reading.record import Record
from wattsump_logger.arrays import BoolArray, runs
from wattsump_logger.calibration.suspicion import sunlit, swapped
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import Measure, degrees, kelvins

__all__ = (
    "air_that_answers_the_fan",
    "air_with_fan_k",
    "bypass_that_opens",
    "capacity_unlike_listed",
    "jumping_air",
    "never_on",
    "probe_in_air",
    "probe_that_moved",
    "suspects_of",
    "tank_and_air_swapped",
    "undisturbed",
)

WARM_K = 15.0  # oil over air above which a stray probe shows
ANSWER_K = 1.0  # of the air, on the median of two or more switchings
ANSWER_ONCE_K = 2.0
SETTLED_S = 120.0  # either side of a switching
SUNLIT_SHARE = 0.05
SUNLIT_WITHIN_S = 300.0
IN_AIR_K = 3.0
IN_AIR_S = 180.0
MOVED_K = 3.0
STAYED_K = 1.0
MOVED_WINDOW_S = 300.0
CLOSED_SHARE = 0.3
OPEN_SHARE = 0.8
KNEE_HALF_WIDTH_K = 3.0
KNEE_LEAST_BINS = 6
KNEE_DROP_K = 3.0  # least gain of the drop itself: offsets and stored heat make tenths
LEAST_APART = 0.5
UNLIKE_SD = 2.0
LEAST_EXCESS_K = 5.0
BROKEN_SHARE = 0.5
LOAD_S = 160.0  # either side of a change of load
LOAD_K_MIN = 0.5  # what a load adds at once; gusts and a cooling core stay below
LEAST_LOADS = 2


def never_on(record: Record, name: str) -> Remark | None:
    """Whether heat came and went time after time while a channel was off from end to end.

    A caution, no contradiction: work that no channel reports does the same.
    """
    width = int(np.ceil(LOAD_S / record.bin_s))
    if width < 4 or record.bins <= 4 * width:  # no bin has quiet ones enough on either side
        return None
    switches = (record.fan, record.engine, record.moving, record.heater_w > 1.0)
    slopes = _slopes_k_min(record.oils_c["tank"], width, record.bin_s)
    quiet = undisturbed(record, 2 * width, switches)
    gained = np.zeros(record.bins)
    gained[width:-width] = slopes[2 * width :] - slopes[: -2 * width]
    # A drive that works has loads of its own.
    gained[~quiet | ~np.isfinite(gained) | (record.moving > 0.1)] = 0.0
    at: list[int] = []
    while np.max(gained, initial=0.0) > LOAD_K_MIN:
        at.append(int(np.argmax(gained)))
        gained[max(at[-1] - 2 * width, 0) : at[-1] + 2 * width] = 0.0
    if len(at) < LEAST_LOADS:
        return None
    minutes = ", ".join(f"{record.elapsed_s[row] / 60:.0f}" for row in sorted(at)[:5])
    return Remark(
        code="channel-never-on",
        text=f"the {name} channel said off throughout, and the tank began to warm faster {len(at)} "
        f"times (minutes {minutes}) though no channel changed. If the {name} was on, its channel "
        "is stuck off",
    )


def _slopes_k_min(values: FloatArray, width: int, bin_s: float) -> FloatArray:
    """Slope of the `width` bins around each bin [K/min], shape (n,), NaN where not all are read."""
    minutes = (np.arange(width) - (width - 1) / 2) * bin_s / 60.0
    slopes = np.full(values.size + width, np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(values, width)
    slopes[width // 2 : width // 2 + len(windows)] = windows @ minutes / np.sum(minutes**2)
    return slopes[: values.size]


def suspects_of(record: Record) -> tuple[Remark, ...]:
    """All remarks on a record."""
    remarks = (
        air_that_answers_the_fan(record),
        jumping_air(record),
        *(probe_in_air(record, name) for name in record.oils_c if name != "tank"),
        probe_that_moved(record),
        bypass_that_opens(record),
    )
    return tuple(remark for remark in remarks if remark is not None)


def tank_and_air_swapped(record: Record) -> Remark | None:
    """Whether the tank reads colder than the air nearly throughout."""
    tank, air = record.oils_c["tank"], record.ambient_c
    is_warm = np.abs(tank - air) > WARM_K
    # A cold machine in a warm shed is colder than the air too, but then the tank warms.
    if np.count_nonzero(is_warm) < max(10, LEAST_APART * record.bins):
        return None
    if np.ptp(air) <= np.nanmax(tank) - np.nanmin(tank) or not swapped(tank[is_warm], air[is_warm]):
        return None
    return Remark(
        code="tank-and-air-swapped",
        text="the tank reads colder than the air nearly throughout: these two probes are swapped",
    )


def _settled_bins(record: Record) -> int:
    return max(int(np.ceil(SETTLED_S / record.bin_s)), 2)


def _switchings(record: Record) -> list[tuple[int, float]]:
    """Bins where the air flow through a hot cooler starts (+1) or stops (-1), settled around."""
    blowing = (record.fan > 0.5) & (record.engine > 0.5)
    settled = _settled_bins(record)
    tank = record.oils_c["tank"]
    seen = np.isfinite(tank)
    filled = np.interp(record.elapsed_s, record.elapsed_s[seen], tank[seen])
    hot = filled - record.ambient_c > WARM_K
    switchings = []
    for at in np.flatnonzero(blowing[1:] != blowing[:-1]) + 1:
        before, after = slice(at - settled, at), slice(at + 1, at + 1 + settled)
        if at < settled or at + 1 + settled > record.bins:
            continue
        steady = np.ptp(blowing[before].astype(int)) == 0 == np.ptp(blowing[after].astype(int))
        if steady and np.all(hot[before]):
            switchings.append((int(at), 1.0 if blowing[at] else -1.0))
    return switchings


def air_with_fan_k(record: Record) -> float:
    """By how much the air at the probe warms with the flow of air through the cooler [K].

    0 where the switchings do not agree.
    """
    settled = _settled_bins(record)
    air = record.ambient_c
    shifts = np.array(
        [
            sign * (air[at + 1 : at + 1 + settled].mean() - air[at - settled : at].mean())
            for at, sign in _switchings(record)
        ]
    )
    if shifts.size == 0:
        return 0.0
    shift = float(np.median(shifts))
    alike = np.all(np.sign(shifts) == np.sign(shift))
    if not alike or abs(shift) < (ANSWER_K if shifts.size > 1 else ANSWER_ONCE_K):
        return 0.0
    return shift


def air_that_answers_the_fan(record: Record) -> Remark | None:
    """Whether the air at the probe changes with the flow of air through the cooler."""
    shift = air_with_fan_k(record)
    if shift == 0.0:
        return None
    if shift > 0:
        return Remark(
            code="hot-air-returns",
            text=(
                "the air at the probe is ",
                kelvins(shift),
                " warmer while the fan blows: hot air comes round to the intake, or the probe "
                "stands in it. Close the gaps around the core, and log again with the probe in the "
                "air that goes in",
            ),
        )
    return Remark(
        code="warm-air-pools",
        text=(
            "the air at the probe is ",
            kelvins(-shift),
            " warmer while the fan is off: heat of engine or core collects there. What was found "
            "without the fan is uncertain; move the probe farther out",
        ),
    )


def jumping_air(record: Record) -> Remark | None:
    """Whether the air jumps as no shaded air does, away from switchings of the fan."""
    mask = sunlit(record.ambient_c, record.elapsed_s, within_s=SUNLIT_WITHIN_S)
    settled = _settled_bins(record) + int(np.ceil(SUNLIT_WITHIN_S / record.bin_s))
    flow = record.fan * record.engine
    for at in np.flatnonzero(np.abs(np.diff(flow)) > 0.3):
        mask[max(at - settled, 0) : at + settled] = False
    share = float(np.mean(mask))
    if share < SUNLIT_SHARE:
        return None
    return Remark(
        code="air-jumps",
        text=(
            "the air probe jumps by ",
            kelvins(3.0, ".0f"),
            f" and more within five minutes, {100 * share:.0f} % of the time: sun and shade, or "
            "warm air in gusts. Shade it and keep it in the air that goes in",
        ),
    )


def probe_in_air(record: Record, name: str) -> Remark | None:
    """Whether an oil probe reads like air while hot oil is pumped past it."""
    probe, air = record.oils_c[name], record.ambient_c
    hot = (record.engine > 0.99) & (record.oils_c["tank"] - air > WARM_K)
    lost = hot & (np.abs(probe - air) < IN_AIR_K)
    longest = max(runs(lost), key=lambda run: run.stop - run.start, default=slice(0, 0))
    long_s = (longest.stop - longest.start) * record.bin_s
    if long_s < IN_AIR_S:
        return None
    called = name.replace("_", " ")
    or_else = ", or does no oil pass the cooler" if name == "cooler_out" else ""
    return Remark(
        code="probe-in-air",
        text=f"{called} read like air for {long_s / 60:.0f} min from "
        f"{record.elapsed_s[longest.start] / 60:.0f} min on while the tank was hot: has the probe "
        f"come off{or_else}?",
    )


def probe_that_moved(record: Record) -> Remark | None:
    """Whether a probe of the cooler jumped against the tank while nothing was switched.

    A change of load also moves the inlet against the tank, but not the share of the excess that
    the cooler takes out of the oil; a moved probe changes that share.
    """
    oils = record.oils_c
    width = max(int(np.ceil(MOVED_WINDOW_S / record.bin_s)), 4)
    if not record.reads_both_pipes or record.bins < 2 * width + 1:
        return None
    inlet, outlet = oils["cooler_in"] - oils["tank"], oils["cooler_out"] - oils["tank"]
    best, remark = MOVED_K, None
    all_steps = {"cooler in": _steps(inlet, width), "cooler out": _steps(outlet, width)}
    switches = (record.fan, record.engine, record.moving, record.heater_w > 1.0, record.work)
    for at in map(int, np.flatnonzero(undisturbed(record, width, switches))):
        steps = {name: float(values[at]) for name, values in all_steps.items()}
        for name, other in (("cooler in", "cooler out"), ("cooler out", "cooler in")):
            if abs(steps[name]) <= best or abs(steps[other]) >= STAYED_K:
                continue
            if not _share_breaks(record, at, width, steps[name], name):
                continue
            best = abs(steps[name])
            remark = Remark(
                code="probe-moved",
                text=(
                    f"{name} jumped by ",
                    kelvins(steps[name], "+.1f"),
                    f" against the tank at {record.elapsed_s[at] / 60:.0f} min while nothing was "
                    "switched: was the probe moved or knocked, or the cooler covered?",
                ),
            )
    return remark


def _share_breaks(record: Record, at: int, width: int, step_k: float, name: str) -> bool:
    """Whether outlet and inlet no longer keep the share they kept before the bin."""
    excess, drop = record.excess_k, record.drop_k
    before = slice(at - width, at)
    usable = np.isfinite(record.oils_c["cooler_out"][before]) & (excess[before] > LEAST_EXCESS_K)
    if np.count_nonzero(usable) < 4:
        return False
    share = float(np.median((drop[before] / excess[before])[usable]))
    broken = float(_steps(share * excess - drop, width)[at])
    expected = abs(step_k) * (1.0 - share if name == "cooler in" else 1.0)
    return abs(broken) > BROKEN_SHARE * expected


def undisturbed(record: Record, width: int, switches: Iterable[NDArray[np.generic]]) -> BoolArray:
    """Bins with the engine on and none of `switches` changed `width` bins either way."""
    changed = np.zeros(record.bins)
    for values in switches:
        changed[1:] += np.abs(np.diff(np.asarray(values, dtype=float))) > 0.05
    near = np.convolve(changed, np.ones(2 * width + 1))[width : width + record.bins] > 0
    inside = np.zeros(record.bins, dtype=bool)
    inside[width : record.bins - width] = True
    return inside & ~near & (record.engine > 0.99)


def _steps(values: FloatArray, width: int) -> FloatArray:
    """Change of level at each bin, shape (n,); 0 where a side is not level itself."""
    windows = np.lib.stride_tricks.sliding_window_view(values, width)
    half = width // 2
    level, moved = _medians(windows), _means(windows[:, :half]) - _means(windows[:, half:])
    usable = np.isfinite(windows).sum(axis=1) >= 4
    for part in (windows[:, :half], windows[:, half:]):
        usable &= np.isfinite(part).sum(axis=1) >= 2
    before, after = slice(None, -width - 1), slice(width + 1, None)
    change = level[after] - level[before]
    within = np.maximum(np.abs(moved[before]), np.abs(moved[after]))
    steps = np.zeros_like(values)
    with np.errstate(invalid="ignore"):
        clear = usable[before] & usable[after] & (within < 0.3 * np.abs(change))
    steps[width:-width] = np.where(clear, change, 0.0)
    return steps


# numpy's nanmedian and nanmean warn of windows without a reading, which are usual here.
def _medians(windows: FloatArray) -> FloatArray:
    """Median of the finite values of each row, NaN where there are none."""
    rows, last = np.sort(windows, axis=1), np.isfinite(windows).sum(axis=1) - 1
    at = np.arange(len(rows))
    return np.asarray(0.5 * (rows[at, np.maximum(last, 0) // 2] + rows[at, (last + 1) // 2]))


def _means(windows: FloatArray) -> FloatArray:
    """Mean of the finite values of each row, NaN where there are none."""
    seen = np.isfinite(windows)
    with np.errstate(invalid="ignore"):
        return np.asarray(np.where(seen, windows, 0.0).sum(axis=1) / seen.sum(axis=1))


def bypass_that_opens(record: Record) -> Remark | None:
    """Whether the cooler passes hardly any heat below one oil temperature and all above it.

    Thick oil also gives less heat to the core, but over tens of kelvins; a thermostatic valve
    opens within a few.
    """
    if not record.reads_both_pipes:
        return None
    on = (record.fan > 0.9) & (record.engine > 0.9) & (record.excess_k > 10.0)
    on &= np.isfinite(record.oils_c["cooler_out"])
    t, drop = record.oils_c["cooler_in"][on], record.drop_k[on]
    passed = drop / record.excess_k[on]
    best, knee_c = 0.0, None
    for tried in np.arange(np.min(t, initial=0.0) + 5.0, np.max(t, initial=0.0) - 4.0):
        shut, opened = t < tried - KNEE_HALF_WIDTH_K, t > tried + KNEE_HALF_WIDTH_K
        if min(np.count_nonzero(shut), np.count_nonzero(opened)) < KNEE_LEAST_BINS:
            continue
        whole = float(np.median(passed[opened]))
        last = shut & (t >= np.quantile(t[shut], 0.66))
        first = opened & (t <= np.quantile(t[opened], 0.34))
        last_shut, first_open = float(np.median(passed[last])), float(np.median(passed[first]))
        gap = first_open - last_shut
        if np.median(drop[first]) - np.median(drop[last]) < KNEE_DROP_K:
            continue
        if last_shut < CLOSED_SHARE * whole and first_open > OPEN_SHARE * whole and gap > best:
            best, knee_c = gap, float(tried)
    if knee_c is None:
        return None
    return Remark(
        code="bypass-opens",
        text=(
            "below about ",
            degrees(knee_c),
            " the cooler passed hardly any heat and above it all at once: a thermostatic bypass "
            "opens there. The colder part of the outing says nothing about the cooler",
        ),
    )


def capacity_unlike_listed(
    capacity_j_k: float, know: Knowledge, u_model_rel: float, *, heat_measured: bool
) -> Remark | None:
    """Whether the machine stored heat unlike the litres and kilograms listed.

    Both the rise and the fall of the temperature are then quicker, or slower, than the
    list explains: a low oil level, or metal that is not on the list. `u_model_rel` is the
    network's own relative standard uncertainty of capacity. The list is a prior of the fit, so
    small differences do not show. Without `heat_measured`, by a flow meter or a metered heater,
    temperatures show that the list is wrong, but not which way.
    """
    if know.oil_j_k is None or know.metal_j_k is None:
        return None
    listed = know.oil_j_k + know.metal_j_k
    u_rel = float(np.hypot(know.u_oil_rel * know.oil_j_k, know.u_metal_rel * know.metal_j_k))
    ratio = capacity_j_k / listed
    if abs(np.log(ratio)) < UNLIKE_SD * float(np.hypot(u_rel / listed, u_model_rel)):
        return None
    if not heat_measured:
        return Remark(
            code="capacity-unlike-listed",
            text="the machine warmed and cooled unlike the oil and metal listed, and without a "
            "flow meter or a metered heater it cannot be told which way: check the oil level, then "
            "the profile's litres and kilograms",
        )
    held = Measure(value=capacity_j_k, kind="heat_capacity", spec=".0f")
    if ratio < 1.0:
        return Remark(
            code="capacity-below-listed",
            text=(
                "the machine warmed and cooled as if it held ",
                held,
                f", {100 * (1 - ratio):.0f} % less than the oil and metal listed: check the oil "
                "level, then the profile's litres and kilograms",
            ),
        )
    return Remark(
        code="capacity-above-listed",
        text=(
            "the machine warmed and cooled as if it held ",
            held,
            f", {100 * (ratio - 1):.0f} % more than the oil and metal listed: check the profile's "
            "litres, and whether all metal that warms with the oil is listed",
        ),
    )
