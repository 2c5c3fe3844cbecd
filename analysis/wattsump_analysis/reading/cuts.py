"""Cuts an outing where something on the cooler was changed, so that no fit runs across it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.reading.oil_side import jumps_s
from wattsump_analysis.reading.record import OILS, Record, Switches, make_record
from wattsump_analysis.reading.samples import Samples
from wattsump_logger.remark import Remark
from wattsump_logger.session.reader import Mark

__all__ = ("Cuts", "cut_times", "find_cuts", "record_of", "stretch_records")

LONGEST_GAP_S = 600.0
LEAST_BINS = 12
# A mark that names a part of the cooler and an action. The words are common practice, no
# source.
PART = re.compile(r"\b(cooler|radiator|core|matrix|fan|shroud|duct|chaff|fins?)\b", re.I)
DONE = re.compile(
    r"\b(swap\w*|chang\w*|replac\w*|fitted|refitted|removed|clean\w*|wash\w*|blew|blown|"
    r"brush\w*|block\w*|unblock\w*|cover\w*|uncover\w*|set to|turned|reversed)\b",
    re.I,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuts:
    """Where an outing is cut, and why, in order of time."""

    times_s: tuple[float, ...]
    notes: tuple[Remark, ...]


def record_of(
    samples: Samples,
    switches: Switches,
    offsets_k: Mapping[str, float],
    rho_cp_j_m3k: FloatArray | None,
    keep: slice = slice(None),
    oils: tuple[str, ...] = OILS,
) -> Record:
    """Binned record of the samples in `keep`, probes matched by `offsets_k`."""
    temps = {
        name: values[keep] - offsets_k.get(name, 0.0)
        for name, values in samples.temps_c.items()
        if name in (*oils, "ambient") and np.isfinite(values[keep]).any()
    }
    flow = None
    if samples.flow_m3_s is not None and rho_cp_j_m3k is not None:
        flow = (samples.flow_m3_s * rho_cp_j_m3k)[keep]
    return make_record(
        samples.elapsed_s[keep],
        {name: temps[name] for name in oils if name in temps},
        temps["ambient"],
        switches.part(keep),
        flow_w_k=flow,
    )


def cut_times(samples: Samples, marks: tuple[Mark, ...]) -> Cuts:
    """Cuts at long gaps and at marks about a change on the cooler."""
    t = samples.elapsed_s
    cuts: list[tuple[float, Remark]] = []
    wide = max(LONGEST_GAP_S, 5.0 * float(np.median(np.diff(t))))
    for row in np.flatnonzero(np.diff(t) > wide):
        minutes = (t[row + 1] - t[row]) / 60.0
        why = Remark(code="cut-gap", text=f"no readings for {minutes:.0f} min")
        cuts.append((float(t[row + 1]), why))
    cuts.extend(
        (mark.elapsed_s, Remark(code="cut-mark", text=f"the mark {mark.text!r}"))
        for mark in marks
        if PART.search(mark.text) and DONE.search(mark.text)
    )
    return _in_order(cuts)


def _in_order(cuts: list[tuple[float, Remark]]) -> Cuts:
    ordered = sorted(cuts, key=lambda cut: (cut[0], cut[1].text))
    return Cuts(times_s=tuple(at for at, _ in ordered), notes=tuple(why for _, why in ordered))


def find_cuts(samples: Samples, marks: tuple[Mark, ...], whole: Record) -> Cuts:
    """Cuts of `cut_times`, and at steps of the oil-side conductance without a mark."""
    cuts = cut_times(samples, marks)
    pairs = list(zip(cuts.times_s, cuts.notes, strict=True))
    for at in jumps_s(whole):
        if all(abs(at - other) > 600.0 for other in cuts.times_s):
            text = "a step of the cooler's own heat per kelvin, without a mark"
            pairs.append((at, Remark(code="cut-step", text=text)))
    return _in_order(pairs)


def stretch_records(
    samples: Samples,
    switches: Switches,
    offsets_k: Mapping[str, float],
    rho_cp_j_m3k: FloatArray | None,
    cuts: Cuts,
    until_s: float = np.inf,
) -> tuple[tuple[Record, ...], tuple[Remark, ...]]:
    """Records between the cuts up to `until_s` that are long enough to fit; notes on the others."""
    t = samples.elapsed_s
    end_s = float(np.nextafter(min(t[-1], until_s), np.inf))
    edges = [float(t[0]), *(cut for cut in cuts.times_s if cut < end_s), end_s]
    records, notes = [], []
    for begin, end in pairwise(edges):
        keep = slice(int(np.searchsorted(t, begin)), int(np.searchsorted(t, end)))
        rows = keep.stop - keep.start
        if rows == 0:
            continue
        tank = samples.temps_c["tank"][keep]
        air = samples.temps_c["ambient"][keep]
        record = None
        if np.isfinite(tank).sum() >= LEAST_BINS and np.isfinite(air).any():
            record = record_of(samples, switches, offsets_k, rho_cp_j_m3k, keep)
        if record is None or np.isfinite(record.oils_c["tank"]).sum() < LEAST_BINS:
            text = (
                f"{rows} rows from {t[keep.start] / 60:.0f} min on are too few to fit and were "
                "left out"
            )
            notes.append(Remark(code="stretch-left-out", text=text))
        else:
            records.append(record)
    return tuple(records), tuple(notes)
