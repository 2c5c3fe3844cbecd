"""Prove drawn machines as their owners would, and hold every answer against the truth.

What is scored is the whole program: session and profile in, verdict out.
"""

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any
from unittest import mock

import numpy as np
from families import FAMILIES
from numpy.typing import NDArray
from outings import LABEL_ETD_K, PROTOCOLS, Happened, outing, profile_of, session_of

from wattsump_analysis.proof import prove as module
from wattsump_analysis.proof.prove import prove
from wattsump_analysis.proof.verdict import judge
from wattsump_analysis.results import Interval, Proof, Segment
from wattsump_logger.machine.profile import Profile
from wattsump_logger.session.reader import Session

__all__ = ("QUANTITIES", "SHARES", "Case", "Score", "happened", "judged", "score_case")

FloatArray = NDArray[np.float64]

QUANTITIES = ("K", "Q", "heat at label")
WORKING_QUANTILE = 0.9  # of a running engine's speeds: what docs/method.md calls working speed
SHARES = (0.65, 0.80, 1.25, 1.50)  # true shares of the label at which verdicts are counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One machine: a family, a protocol, and its number among those drawn with a seed."""

    family: str
    protocol: str
    machines: int
    seed: int
    one: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """What came out: quantity -> (truth, value, low, high), and a word per share of `SHARES`.

    `found` is empty where the program gave no K; `why` is then its headline. `form` is the standard
    deviation of ln K that the program adds for a network that is not the machine.
    """

    case: Case
    found: dict[str, tuple[float, float, float, float]]
    words: tuple[str, ...]
    form: float
    why: str


_KEPT: dict[tuple[str, str, int, int], Happened] = {}


def happened(case: Case) -> Happened:
    """Run the machines of a case; the last are kept, for their neighbours come next."""
    key = (case.family, case.protocol, case.machines, case.seed)
    if key not in _KEPT:
        _KEPT.clear()
        # Each cell has machines of its own, whatever cells are run beside it.
        own = zlib.crc32(f"{case.family}, {case.protocol}, {case.seed}".encode())
        _KEPT[key] = outing(FAMILIES[case.family], PROTOCOLS[case.protocol], case.machines, own)
    return _KEPT[key]


def settled_w_k(ran: Happened, one: int, oil_c: float) -> float:
    """True heat of the cooler over oil in less air in [W/K] at working speed, fan on."""
    count = ran.drawn.count
    speed = ran.controls["speed"][ran.rows(one), one]
    # An engine under load droops: the speed it works at is the one that most of its work has.
    governed = float(np.quantile(speed[speed > 0.0], WORKING_QUANTILE))
    return float(ran.drawn.machine.settled_w_k(np.full(count, oil_c), governed)[one])


def true_k_w_k(ran: Happened, one: int, proof: Proof) -> float:
    """The K that the program speaks of: over the oil that goes in, or over the tank's."""
    assert proof.reference_oil_c is not None
    if proof.k_refers_to != "tank oil":
        return settled_w_k(ran, one, proof.reference_oil_c)
    rows = ran.rows(one)
    c = {name: values[rows, one] for name, values in ran.controls.items()}
    tank, inlet = ran.seen_c["tank"][rows, one], ran.inlet_c[rows, one]
    on = (c["fan"] > 0.9) & (c["speed"] > 0.0)
    warm = on & (tank >= np.median(tank[on]))
    # Settled heat, as the label's: what the core takes up or gives back comes on top.
    grid = np.linspace(inlet[warm].min(), inlet[warm].max() + 0.1, 40)
    settled = np.interp(inlet[warm], grid, [settled_w_k(ran, one, t) for t in grid])
    heat = settled * (inlet - c["air"])[warm]
    return float(heat.sum() / (tank - c["air"])[warm].sum())


def true_heat_w(ran: Happened, one: int, segment: Segment) -> float:
    """Mean heat into the oil with the engine on and the heater off, over a stretch."""
    rows = ran.rows(one)
    c = {name: values[rows, one] for name, values in ran.controls.items()}
    t = np.arange(c["speed"].size)
    inside = (t >= segment.start_s) & (t < segment.end_s)
    loaded = inside & (c["speed"] > 0.0) & (c["heater_w"] < 1.0)
    return float(c["load_w"][loaded].mean())


def score_case(case: Case) -> Score:
    """Prove one machine and hold what is found against its truth."""
    ran, one = happened(case), case.one
    # The label is true here; the others are held against the same draws, as `prove` would.
    label_w_k = settled_w_k(ran, one, 65.0)
    proof, word_at = judged(session_of(ran, one), profile_of(ran, one, label_w_k), seed=one)
    if proof.k_w_k is None or proof.label is None:
        none = ("cannot tell",) * len(SHARES)
        return Score(case=case, found={}, words=none, form=0.0, why=proof.headline)
    assert proof.reference_oil_c is not None
    inlet_w_k = settled_w_k(ran, one, proof.reference_oil_c)
    pairs: dict[str, tuple[float, Interval | None]] = {
        "K": (true_k_w_k(ran, one, proof), proof.k_w_k),
        "heat at label": (inlet_w_k * LABEL_ETD_K, proof.label.heat_at_etd_w),
    }
    # A piece too short for the network still has a K of the cooler's own sides, and no segment.
    for segment in proof.segments:
        if segment.k_w_k == proof.k_w_k:
            pairs["Q"] = (true_heat_w(ran, one, segment), segment.heat_in_w)
    return Score(
        case=case,
        found={
            name: (truth, seen.value, seen.low, seen.high)
            for name, (truth, seen) in pairs.items()
            if seen is not None
        },
        words=tuple(word_at(inlet_w_k / share) for share in SHARES),
        form=next((b.relative for b in proof.budget if b.source == "model form"), 0.0),
        why="",
    )


def judged(session: Session, profile: Profile, seed: int) -> tuple[Proof, Callable[[float], str]]:
    """The proof, and the program's verdict on the same outing under another label [W/K]."""
    calls: list[tuple[tuple[Any, ...], dict[str, Any]]] = []

    def keeping(*given: Any, **named: Any) -> Any:
        calls.append((given, named))
        return judge(*given, **named)

    with mock.patch.object(module, "judge", keeping):
        proof = prove(session, profile, seed=seed)

    def word_at(label_w_k: float) -> str:
        (stretch, stretches, own, *rest), named = calls[-1]
        cooler = replace(own.cooler, label_heat_w=label_w_k * LABEL_ETD_K, label_etd_k=LABEL_ETD_K)
        return judge(stretch, stretches, replace(own, cooler=cooler), *rest, **named).verdict

    return proof, word_at
