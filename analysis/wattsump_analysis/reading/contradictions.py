"""Finds switch channels that contradict the temperatures: a wire loose, inverted or shorted.

The fit takes switches as true, so a wrong one makes a narrow and wrong K. Each channel is
compared with the readings it must move. Each remark names channel and minutes and is a reason
to give no watts. Thresholds are common practice, no source; drawn machines at work, with probes of
class 2 or on slow walls, hardly ever pass them (tests/validation/switches.py).
"""

from collections.abc import Iterator

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.record import COOLING, IDLING, SEEN_DROP_K, Record
from wattsump_analysis.reading.samples import Samples
from wattsump_logger.arrays import BoolArray, runs
from wattsump_logger.remark import Remark
from wattsump_logger.units.measure import kelvins

__all__ = ("contradictions", "right_channels")

WIDEST_BIN_S = 120.0  # a slower record shows no switching
SETTLED_S = 80.0  # after a switching, of core and probes
# A probe on a pipe's wall may follow for minutes yet: it then moves further in this time.
FOLLOWS_S = 60.0
FOLLOWS_SHARE, FOLLOWS_K = 0.1, 1.0
LEAST_S = 180.0
BLOWS_LEAST_S = 300.0  # as long as a guided run's fan-off step, in which slow walls still follow
HOT_K = 20.0  # oil over air above which the share is known even with unmatched probes
OFFSET_K = 1.5  # between two probes that nobody matched
WARM_K = 15.0
AS_COLD_K = 2.0  # warmest oil of bins to compare with: thick oil gives less heat off
STANDING_S = 300.0  # oil that stands in the core stays warm this long
SLOPE_S = 160.0  # either side of a switching
WRONG_K_MIN = 0.15
MOSTLY = 0.75
WARMED_K, WARMED_K_MIN = 3.0, 0.15
SOAKED_K_MIN = 0.4  # a tank beside the engine warms more slowly than this after a stop
UNMOVED_K_MIN = 0.02  # a tenth of what a small heater does to a small machine
COLDER_K = 5.0
SHAKEN_S = 10.0  # no fan or engine repeatedly stays in one state so briefly
SHAKEN = 20
LONGEST_GAP_S = 86_400.0
SLOWEST_K_MIN = 0.02  # with the engine on; weather alone does as much
QUICKEST_K_MIN = 30.0
CHANGED_K = 10.0


def right_channels() -> Remark:
    """What to do about a contradicted channel."""
    return Remark(
        code="check-channels",
        text="Switch each thing by hand with the machine standing, see its channel follow on the "
        "screen of `wattsump log`, mend the wire or the input that does not, and log again. For "
        "another logger's file correct the times, or type them: wattsump import FILE --was.",
    )


def contradictions(record: Record, samples: Samples, *, matched: bool) -> tuple[Remark, ...]:
    """Remarks on the switches of a whole outing, from its record and samples.

    `matched` tells whether a soak matched the probes; without one the thresholds are wider.
    """
    remarks: list[Remark | None] = [_jump(samples) or _time(record), *_shaken(samples)]
    if record.bins and record.bin_s <= WIDEST_BIN_S:
        if samples.fan is not None:
            remarks.append(
                _fan(record, 0.0 if matched else OFFSET_K)
                or _wrong_way(record, "fan", record.fan, -1.0)
            )
            if samples.engine is not None and remarks[-1] is None:  # the fan shows it
                remarks.append(_pumped(record))
        if samples.moving is not None:
            remarks.append(_wrong_way(record, "drive", record.moving, 1.0))
        if samples.engine is not None:
            remarks += [_driven_while_off(record, samples), _not_pumped(record)]
            remarks.append(_warms_by_itself(record))
        if samples.heater_w is not None:
            remarks.append(_heats_nothing(record))
    return tuple(remark for remark in remarks if remark is not None)


def _minutes(record: Record, where: BoolArray) -> str:
    """For how long `where` holds, and between which minutes of the outing."""
    at = np.flatnonzero(where)
    first, last = (record.elapsed_s[row] / 60 for row in (at[0], at[-1]))
    return f"for {at.size * record.bin_s / 60:.0f} min between {first:.0f} and {last:.0f} min"


def _settled(record: Record, *states: FloatArray) -> BoolArray:
    """Bins in which, and for `SETTLED_S` before which, no state changed."""
    bins = int(np.ceil(SETTLED_S / record.bin_s))
    steady = np.ones(record.bins, dtype=bool)
    for state in states:
        changed = np.r_[False, np.abs(np.diff(state)) > 0.05]
        changed |= (state > 0.05) & (state < 0.95)
        steady &= np.convolve(changed, np.ones(bins + 1))[: record.bins] == 0
    return steady


def _at_rest(record: Record, values: FloatArray, most: float) -> BoolArray:
    """Bins whose value differs by less than `most` from that of `FOLLOWS_S`, or a bin, before."""
    back = int(np.ceil(FOLLOWS_S / record.bin_s))
    changed = np.full(record.bins, np.inf)
    changed[back:] = np.abs(values[back:] - values[:-back])
    return changed < most


def _long(record: Record, where: BoolArray, least_s: float = LEAST_S) -> bool:
    return bool(np.count_nonzero(where) * record.bin_s >= least_s)


def _share(record: Record) -> tuple[FloatArray, float]:
    """Share of its excess that oil leaves in the cooler, NaN if unknown; its usual high."""
    share = np.full(record.bins, np.nan)
    if not record.reads_both_pipes:
        return share, np.nan
    excess, drop = record.excess_k, record.drop_k
    usable = (excess > HOT_K) & np.isfinite(drop) & (record.engine > 0.99)
    if np.count_nonzero(usable) < 9 or np.quantile(drop[usable], 0.9) < SEEN_DROP_K:
        return share, np.nan
    share[usable] = drop[usable] / excess[usable]
    high = float(np.quantile(share[usable], 0.9))
    for flagged in (usable & (record.fan > 0.9), usable & (record.fan < 0.1)):
        if np.count_nonzero(flagged) >= 9:
            high = max(high, float(np.median(share[flagged])))
    return share, high


def _fan(record: Record, offset_k: float) -> Remark | None:
    """Whether the cooler's share contradicts the fan; needs both probes at the cooler."""
    share, high = _share(record)
    steady = _settled(record, record.fan, record.engine)
    steady &= _at_rest(record, share, FOLLOWS_SHARE * high)
    with np.errstate(invalid="ignore"):
        doubt = offset_k / np.maximum(record.oils_c["tank"] - record.ambient_c, HOT_K)
        cools = steady & (share - doubt > COOLING * high)
        idles = steady & (share + doubt < IDLING * high)
    if not cools.any() or not idles.any():
        return None
    inlet = record.oils_c["cooler_in"]
    coldest_cooled = float(np.min(inlet[cools]))
    stands = idles & (record.fan > 0.9) & (inlet > coldest_cooled - AS_COLD_K)
    blows = cools & (record.fan < 0.1)
    if _long(record, stands) and _long(record, blows, BLOWS_LEAST_S):
        return Remark(
            code="fan-channel-inverted",
            text="the fan channel is the wrong way round: the cooler took heat out of the oil "
            f"{_minutes(record, blows)} while it said off, and hardly any "
            f"{_minutes(record, stands)} while it said on. Or the engine's channel is wrong",
        )
    if _long(record, stands):
        return Remark(
            code="fan-channel-stuck-on",
            text=f"the fan channel said on {_minutes(record, stands)} while the cooler took "
            "hardly any heat out of the oil: it is stuck, or the fan did not turn",
        )
    if _long(record, blows, BLOWS_LEAST_S):
        return Remark(
            code="fan-channel-stuck-off",
            text=f"the fan channel said off {_minutes(record, blows)} while the cooler took as "
            "much heat out of the oil as with its fan: it is wrong, or the engine stood unnoticed",
        )
    return None


def _wrong_way(record: Record, name: str, state: FloatArray, sign: float) -> Remark | None:
    """Whether the tank's warming changed the wrong way at nearly every switching of a channel."""
    width, gap = int(np.ceil(SLOPE_S / record.bin_s)), 2
    tank, t = record.oils_c["tank"], record.elapsed_s / 60
    others = {"fan": record.fan, "engine": record.engine, "drive": record.moving}
    others = {key: values for key, values in others.items() if key != name}
    if record.engine_rpm is not None and record.engine_rpm.any():
        others["speed"] = record.engine_rpm / np.max(record.engine_rpm)
    changes: list[float] = []
    at: list[float] = []
    for row in np.flatnonzero(np.abs(np.diff(state > 0.5)) > 0) + 1:
        if at and t[row] - at[-1] < SLOPE_S / 60:
            continue  # a short blink of the channel is one event
        before, after = slice(row - width - gap, row - gap), slice(row + gap, row + gap + width)
        around = slice(before.start, after.stop)
        if before.start < 0 or after.stop > record.bins or not np.isfinite(tank[around]).all():
            continue
        still = all(np.ptp(values[around]) < 0.05 for values in (*others.values(), record.heater_w))
        # A state that is back within the gap, as after a short pause, was not switched.
        step = float(state[after.start] - state[before.start])
        steady = max(np.ptp(state[before]), np.ptp(state[after])) < 0.05 and abs(step) > 0.9
        usable = np.min(tank[around] - record.ambient_c[around]) > WARM_K or name != "fan"
        if not (still and steady and usable and np.all(record.engine[around] > 0.9)):
            continue
        slopes = [float(np.polyfit(t[part], tank[part], 1)[0]) for part in (before, after)]
        changes.append(sign * float(np.sign(step)) * (slopes[1] - slopes[0]))
        at.append(float(t[row]))
    wrong = np.array(changes) < -WRONG_K_MIN
    # A drive that starts after a trial under load may warm the oil less: one such place is usual.
    if (
        len(changes) < (2 if name == "fan" else 3)
        or np.mean(wrong) < MOSTLY
        or np.median(changes) > -WRONG_K_MIN
    ):
        return None
    expected = "cool faster" if sign < 0 else "warm faster"
    minutes = ", ".join(f"{minute:.0f}" for minute in np.array(at)[wrong][:5])
    return Remark(
        code="channel-inverted",
        text=f"the {name} channel is the wrong way round: with it on the oil should {expected}, "
        f"and at {np.count_nonzero(wrong)} of {len(changes)} switchings (minutes {minutes}) it "
        "did the opposite",
    )


def _driven_while_off(record: Record, samples: Samples) -> Remark | None:
    if samples.moving is None:
        return None
    where = (record.moving > 0.9) & (record.engine < 0.1)
    if not _long(record, where):
        return None
    return Remark(
        code="drive-moves-with-engine-off",
        text="the engine channel said off and the drive channel moving "
        f"{_minutes(record, where)}: one of the two is wrong",
    )


def _not_pumped(record: Record) -> Remark | None:
    """Whether the cooler's inlet cooled away from a hot tank with the engine logged as on."""
    oils = record.oils_c
    if "cooler_in" not in oils:
        return None
    hot = (oils["tank"] - record.ambient_c > WARM_K) & (record.heater_w < 1.0)
    where = hot & (record.engine > 0.99) & _settled(record, record.engine)
    colder_k = oils["tank"] - oils["cooler_in"]
    # Behind oil that warms a probe on its pipe stays by its lag.
    where &= _at_rest(record, oils["tank"], FOLLOWS_K) & _at_rest(record, colder_k, FOLLOWS_K)
    with np.errstate(invalid="ignore"):
        where &= colder_k > COLDER_K
    if not _long(record, where):
        return None
    return Remark(
        code="engine-channel-stuck-on",
        text=f"the engine channel said on {_minutes(record, where)} while the oil at the cooler "
        "was colder than the tank: no oil was pumped",
    )


def _pumped(record: Record) -> Remark | None:
    """Whether hot oil kept coming to the cooler with the engine logged as off."""
    if not record.reads_both_pipes:
        return None
    _, high = _share(record)
    excess, drop = record.excess_k, record.drop_k
    bins = int(np.ceil(STANDING_S / record.bin_s))
    off = np.convolve(record.engine > 0.1, np.ones(bins + 1))[: record.bins] == 0
    with np.errstate(invalid="ignore"):
        where = off & (excess > HOT_K) & (drop > SEEN_DROP_K)
        where &= drop > COOLING * (0.0 if np.isnan(high) else high) * excess
        # Oil that stands in the core cools below the tank.
        where &= (record.oils_c["cooler_in"] - record.oils_c["tank"] > -1.0) & (record.fan > 0.9)
    if not _long(record, where):
        return None
    return Remark(
        code="engine-channel-stuck-off",
        text=f"the engine channel said off {_minutes(record, where)} while hot oil went through "
        "the cooler",
    )


def _long_runs(record: Record, where: BoolArray) -> Iterator[tuple[slice, float, float]]:
    """Yield the runs of `LEAST_S` or longer, with the tank's rise [K] and its slope [K/min]."""
    tank = record.oils_c["tank"]
    for run in runs(where & np.isfinite(tank)):
        minutes = (run.stop - run.start) * record.bin_s / 60
        rise_k = float(tank[run.stop - 1] - tank[run.start])
        if minutes * 60 >= LEAST_S:
            yield run, rise_k, rise_k / minutes


def _warms_by_itself(record: Record) -> Remark | None:
    quiet = (record.engine < 0.1) & (record.moving < 0.1) & (record.heater_w < 1.0)
    quiet &= _settled(record, record.engine) & (record.oils_c["tank"] > record.ambient_c - 2.0)
    soaked = quiet & np.logical_or.accumulate(record.engine > 0.1)
    where = np.zeros(record.bins, dtype=bool)
    for part, least_k_min in ((quiet & ~soaked, WARMED_K_MIN), (soaked, SOAKED_K_MIN)):
        for run, rise_k, slope_k_min in _long_runs(record, part):
            where[run] |= rise_k > WARMED_K and slope_k_min > least_k_min
    if not where.any():
        return None
    return Remark(
        code="warms-with-all-off",
        text=f"the tank warmed {_minutes(record, where)} while engine, drive and heater were "
        "logged as off: the engine channel is wrong, or a heater is not logged",
    )


def _heats_nothing(record: Record) -> Remark | None:
    heated = (record.heater_w > 1.0) & (record.engine < 0.1) & _settled(record, record.engine)
    heated &= record.oils_c["tank"] - record.ambient_c < WARM_K
    where = np.zeros(record.bins, dtype=bool)
    for run, _, slope_k_min in _long_runs(record, heated):
        where[run] = slope_k_min < UNMOVED_K_MIN
    if not _long(record, where, 2 * LEAST_S):
        return None
    return Remark(
        code="heater-channel-stuck-on",
        text=f"the heater channel said on {_minutes(record, where)} and the tank did not warm: "
        "the heater was off, or its channel is wrong",
    )


def _shaken(samples: Samples) -> list[Remark]:
    """Whether fan or engine repeatedly went on and off within seconds."""
    remarks = []
    for name, flag in (("fan", samples.fan), ("engine", samples.engine)):
        if flag is None:
            continue
        at = samples.elapsed_s[np.flatnonzero(np.diff(flag)) + 1]
        brief = np.flatnonzero(np.diff(at) < SHAKEN_S)
        if brief.size >= SHAKEN:
            remarks.append(
                Remark(
                    code="channel-loose",
                    text=f"the {name} channel went on and off {brief.size} times within "
                    f"{SHAKEN_S:.0f} s between {at[brief[0]] / 60:.0f} and "
                    f"{at[brief[-1]] / 60:.0f} min: a loose wire, or an input without its filter",
                )
            )
    return remarks


def _jump(samples: Samples) -> Remark | None:
    """Whether the time leaps over more than a day, as a damaged clock does."""
    steps = np.diff(samples.elapsed_s)
    at = int(np.argmax(steps))
    if steps[at] < LONGEST_GAP_S:
        return None
    return Remark(
        code="time-jumps",
        text=f"elapsed_s jumps by {steps[at] / 3600:.3g} h at {samples.elapsed_s[at] / 60:.0f} "
        "min: it is not the time of one outing",
    )


def _time(record: Record) -> Remark | None:
    """Whether the tank warms faster than any machine: elapsed_s then does not count seconds."""
    tank = record.oils_c["tank"]
    seen = np.isfinite(tank)
    t, y = record.elapsed_s[seen] / 60, tank[seen]
    if y.size < 6 or np.ptp(y) < CHANGED_K or not (record.engine > 0.5).any():
        return None
    quickest = float(np.max(np.abs((y[5:] - y[:-5]) / (t[5:] - t[:-5]))))
    if SLOWEST_K_MIN < quickest < QUICKEST_K_MIN:
        return None
    return Remark(
        code="time-counts-no-seconds",
        text=(
            "the tank changed by ",
            kelvins(quickest, ".2g", per="/min"),
            " at its quickest, as no machine at work does: elapsed_s does not count seconds",
        ),
    )
