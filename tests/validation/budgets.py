"""The uncertainty budget of each protocol by hand, for a middling machine.

Two routes lead to K. From capacity: K = C S / E, with C the heat capacity, S how much faster the
oil warms without the fan than with it, and E oil in less air. From flow: K = F D / E, with F the
oil's capacity rate and D its fall across the cooler. Relative contributions add in quadrature
(JCGM 100:2008, eq. 10 for products and 13 where oil's heat capacity is in both routes).
"""

from dataclasses import dataclass
from math import hypot, inf, sqrt

__all__ = ("Budget", "Middling", "budget_rows", "joined")

COVERAGE = 1.96
U_LITRES, U_OIL_HEAT, U_PART, U_SPECIFIC = 0.04, 0.03, 0.13, 0.04
MATCHED_K, MATCHED_AIR_K = 0.08, 0.4
# A class 2 probe, uniform within 2.5 K, and its converter; sun on an air probe nobody shaded.
CLASS_K, SUN_K = hypot(2.5 / sqrt(3.0), 0.4), 0.7
FIRST_MINUTES_K = 0.5  # what a start from cold leaves of the difference between two pipe probes


@dataclass(frozen=True, slots=True, kw_only=True)
class Middling:
    """A machine in the middle of those drawn: J/K, W/K, W, K and s."""

    oil_j_k: float = 34.5e3
    parts_j_k: tuple[float, ...] = (15.8e3, 7.1e3, 3.6e3)
    cooler_w_k: float = 90.0
    shell_w_k: float = 15.0
    load_w: float = 3150.0
    excess_k: float = 45.0
    flow_w_k: float = 700.0
    wander: float = 0.15
    memory_s: float = 60.0

    @property
    def capacity_j_k(self) -> float:
        return self.oil_j_k + sum(self.parts_j_k)

    @property
    def u_capacity(self) -> float:
        """Relative standard uncertainty of oil and metal as stated."""
        metal = sum(self.parts_j_k)
        parts = (
            self.oil_j_k * hypot(U_LITRES, U_OIL_HEAT),
            *(U_PART * part for part in self.parts_j_k),
            U_SPECIFIC * metal,
        )
        return hypot(*parts) / self.capacity_j_k

    def u_steps(self, off_s: float, on_s: float) -> float:
        """Of S: a mean over t of a load that wanders with memory m varies by sqrt(2 m / t)."""
        w = self.wander * self.load_w * sqrt(2.0 * self.memory_s * (1.0 / off_s + 1.0 / on_s))
        return w / (self.cooler_w_k * self.excess_k)

    @property
    def drop_k(self) -> float:
        return self.cooler_w_k * self.excess_k / self.flow_w_k


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """Half-width of K at 95 %, and in words what it is made of."""

    protocol: str
    words: str
    half_width: float


def joined(first: float, second: float, both: float) -> float:
    """Least standard uncertainty of a weighted mean of two results of covariance `both`."""
    a, b = first**2, second**2
    return sqrt((a * b - both**2) / (a + b - 2.0 * both))


def budget_rows(m: Middling | None = None) -> tuple[Budget, ...]:
    """A budget per protocol, in the order of the protocols; none where nothing fixes the scale."""
    m = Middling() if m is None else m
    matched = hypot(MATCHED_K, MATCHED_AIR_K) / m.excess_k
    loose = hypot(CLASS_K, CLASS_K, SUN_K) / m.excess_k
    steps = m.u_steps(off_s=1600.0, on_s=2400.0)
    oil_in_capacity = m.oil_j_k / m.capacity_j_k * U_OIL_HEAT
    by_capacity = hypot(m.u_capacity, steps, matched)
    rows = [
        ("guided", _words(capacity=m.u_capacity, wander=steps, excess=matched), by_capacity),
        (
            "guided, tank and ambient",
            _words(capacity=m.u_capacity, wander=steps, excess=matched),
            by_capacity,
        ),
    ]
    drop = MATCHED_K * sqrt(2.0) / m.drop_k
    for protocol, parts in {
        "guided, metered flow": {"meter": 0.03},
        # The oil that slips under load is not in a bucket held at idle: 2 to 10 %, uniform.
        "guided, flow by bucket": {"bucket": 0.03, "slip": 0.08 / sqrt(12.0)},
        "guided, displacement": {"displacement": 0.04},
    }.items():
        by_flow = hypot(*parts.values(), U_OIL_HEAT, drop, matched)
        both = oil_in_capacity * U_OIL_HEAT + matched**2
        words = _words(**parts, oil=U_OIL_HEAT, drop=drop, excess=matched)
        rows.append((protocol, f"{words}; with the capacity", joined(by_flow, by_capacity, both)))
    # What the shell takes while the heater runs is known to three tenths from the cool-down.
    shell = 0.3 * m.shell_w_k * 10.0 / 1500.0
    by_heater = hypot(0.02, shell)
    capacity = joined(by_heater, m.u_capacity, 0.0)
    rows.append(
        (
            "guided, circulated heater",
            f"{_words(power=0.02, shell=shell)}; with the capacity, "
            f"{_words(wander=steps, excess=matched)}",
            hypot(capacity, steps, matched),
        )
    )
    once = m.u_steps(off_s=300.0, on_s=600.0)
    rows.append(
        (
            "ordinary work, one fan-off",
            _words(capacity=m.u_capacity, wander=once, excess=loose),
            hypot(m.u_capacity, once, loose),
        )
    )
    fall = FIRST_MINUTES_K / m.drop_k
    rows.append(
        (
            "ordinary work, metered, pauses",
            _words(meter=0.03, oil=U_OIL_HEAT, drop=fall, excess=loose),
            hypot(0.03, U_OIL_HEAT, fall, loose),
        )
    )
    rows.append(("ordinary work", "nothing fixes the scale: temperatures give ratios", inf))
    return tuple(
        Budget(protocol=protocol, words=words, half_width=COVERAGE * u)
        for protocol, words, u in rows
    )


def _words(**parts: float) -> str:
    return ", ".join(f"{name} {100 * u:.1f} %" for name, u in parts.items())
