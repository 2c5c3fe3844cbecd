"""Hand-made proofs for the tests of what people look at: plausible, and quick to make."""

from dataclasses import replace

import numpy as np

from wattsump_analysis.results import (
    BudgetLine,
    Diagnostics,
    Influence,
    Interval,
    LabelCheck,
    Ledger,
    Phase,
    PhaseFit,
    Proof,
    Route,
    Segment,
    Verdict,
)
from wattsump_logger.remark import Remark

__all__ = ("cannot_tell", "falls_short", "without_etd")

BIN_S = 30.0
STAGES = (
    ("soak", 0.0, 600.0, 0.0, 0.0, 0.0),
    ("warm-up", 600.0, 1620.0, 3400.0, 0.0, 1.0),
    ("fan on", 1620.0, 1920.0, 3400.0, 95.0, 1.0),
    ("fan off", 1920.0, 2220.0, 3400.0, 0.0, 1.0),
    ("fan on", 2220.0, 2520.0, 3400.0, 95.0, 1.0),
    ("fan off", 2520.0, 2820.0, 3400.0, 0.0, 1.0),
    ("steady work", 2820.0, 4800.0, 2900.0, 95.0, 1.0),
    ("stopped cool-down", 4800.0, 6300.0, 0.0, 0.0, 0.0),
)
CAPACITY_J_K = 61_000.0
SHELL_W_K = 12.0
AMBIENT_C = 18.0


def near(value: float, share: float) -> Interval:
    return Interval(value=value, low=value * (1 - share), high=value * (1 + share))


def _remark(text: str) -> Remark:
    return Remark(code="of-the-fixture", text=text)


def falls_short() -> Proof:
    """87 % of a 6 kW label, as of Bracken's proving run."""
    time_s = np.arange(0.5 * BIN_S, 6300.0, BIN_S)
    heat_w, cooler_w_k, engine = (np.zeros_like(time_s) for _ in range(3))
    for _, start_s, end_s, heat, cooler, on in STAGES:
        inside = (time_s >= start_s) & (time_s < end_s)
        heat_w[inside], cooler_w_k[inside], engine[inside] = heat, cooler, on
    tank_c = np.full_like(time_s, AMBIENT_C)
    for i in range(1, time_s.size):
        rise_k = tank_c[i - 1] - AMBIENT_C
        flow_w = heat_w[i - 1] - (cooler_w_k[i - 1] + SHELL_W_K) * rise_k
        tank_c[i] = tank_c[i - 1] + BIN_S * flow_w / CAPACITY_J_K
    rise_k = tank_c - AMBIENT_C
    cooler_w, shell_w = cooler_w_k * rise_k, SHELL_W_K * rise_k
    rng = np.random.default_rng(7)
    seen_c = tank_c + 0.1 * rng.standard_normal(time_s.size)
    inlet_c = tank_c + engine * heat_w / 340.0 * 0.6
    phases = tuple(
        Phase(kind=kind, start_s=start_s, end_s=end_s) for kind, start_s, end_s, *_ in STAGES
    )
    hottest = int(np.argmax(inlet_c))
    k = near(94.6, 0.062)
    return Proof(
        verdict=Verdict.FALLS_SHORT,
        headline="The cooler rejects 5.20 kW where its label promises 6.00 kW.",
        reasons=(_remark("The whole range of what was measured lies below the label."),),
        next_step=_remark("Clean the core and its air side, then repeat the same run."),
        cautions=(_remark("The air probe warmed by 3 K while the machine stood: shade it."),),
        k_w_k=k,
        k_refers_to="oil into the cooler",
        reference_oil_c=58.4,
        label=LabelCheck(
            label_heat_w=6000.0,
            label_etd_k=55.0,
            heat_at_etd_w=near(94.6 * 55, 0.062),
            share_of_label=near(94.6 * 55 / 6000, 0.062),
            probability_met=0.0002,
        ),
        segments=(
            Segment(
                start_s=0.0,
                end_s=6300.0,
                k_w_k=k,
                capacity_j_k=near(CAPACITY_J_K, 0.08),
                heat_in_w=near(3400.0, 0.07),
                shell_w_k=near(SHELL_W_K, 0.2),
                k_over_c_per_s=near(94.6 / CAPACITY_J_K, 0.03),
                oil_side_w_k=None,
                nodes=2,
            ),
        ),
        phases=phases,
        phase_fits=(
            PhaseFit(
                phase=phases[1],
                tau_s=near(4800.0, 0.3),
                final_c=240.0,
                rms_k=0.12,
                window_tau=0.21,
                trusted=False,
                why=_remark("watched for a fifth of its time constant only"),
            ),
            PhaseFit(
                phase=phases[7],
                tau_s=near(5100.0, 0.1),
                final_c=18.4,
                rms_k=0.1,
                window_tau=0.3,
                trusted=True,
                why=_remark("shell loss alone"),
            ),
        ),
        routes=(
            Route(
                name="warming and cooling",
                rests_on="18 L of oil and 62 kg of metal as stated",
                k_w_k=near(93.8, 0.08),
            ),
            Route(
                name="oil side", rests_on="12 L/min of oil flow as stated", k_w_k=near(97.0, 0.16)
            ),
        ),
        budget=(
            BudgetLine(source="metal_j_k", kind="B", relative=0.022),
            BudgetLine(source="oil_j_k", kind="B", relative=0.013),
            BudgetLine(source="readings", kind="A", relative=0.009),
        ),
        ledger=Ledger(
            elapsed_s=time_s,
            heat_in_w=heat_w,
            heat_in_low_w=heat_w * 0.92,
            heat_in_high_w=heat_w * 1.08,
            cooler_w=cooler_w,
            shell_w=shell_w,
            stored_w=heat_w - cooler_w - shell_w,
            unexplained_w=np.zeros_like(time_s),
            heat_in_kwh=near(float(heat_w.sum() * BIN_S / 3.6e6), 0.07),
            cooler_kwh=near(float(cooler_w.sum() * BIN_S / 3.6e6), 0.06),
            shell_kwh=near(float(shell_w.sum() * BIN_S / 3.6e6), 0.2),
            stored_kwh=near(float((heat_w - cooler_w - shell_w).sum() * BIN_S / 3.6e6), 0.05),
            unexplained_kwh=Interval(value=0.0, low=-0.01, high=0.01),
            working_p50_range_w=near(3400.0, 0.07),
            working_p90_range_w=near(3900.0, 0.07),
            working_peak_w=near(4300.0, 0.09),
            working_p50_w=3400.0,
            working_p90_w=3900.0,
        ),
        diagnostics=Diagnostics(
            bins=time_s.size,
            bin_s=BIN_S,
            nodes=2,
            layout="metal in the lines",
            layout_share=0.83,
            residual_rms_k=0.11,
            residual_lag1=0.12,
            durbin_watson=1.76,
            periodogram_excess=1.3,
            innovation_lag1=0.08,
            innovation_durbin_watson=1.84,
            innovation_periodogram_excess=1.1,
            window_tau=1.4,
            effective_draws=212.0,
            correlations={"cooler and metal": 0.71},
            at_bounds=(),
            influence=(Influence(phase=phases[1], k_change_rel=-0.04),),
        ),
        notes=(_remark("3 spikes were left out."),),
        marks=((600.0, "fan-off rise"), (2820.0, "work loop")),
        peaks_c={
            "tank": (float(tank_c.max()), float(time_s[np.argmax(tank_c)])),
            "cooler_in": (float(inlet_c[hottest]), float(time_s[hottest])),
            "ambient": (19.0, 60.0),
        },
        limits_c={"oil_warn": 66.0, "oil_max": 82.0},
        series_s=time_s,
        series_c={
            "tank": seen_c,
            "cooler_in": inlet_c,
            "cooler_out": inlet_c - cooler_w / 340.0,
            "ambient": np.full_like(time_s, AMBIENT_C),
        },
        model_c=tank_c,
        provenance={
            "session": "20260504-bracken.csv",
            "machine": "Bracken",
            "start_utc": "2026-05-04T07:00:00+00:00",
        },
    )


def without_etd() -> Proof:
    """The same outing with a label that prints heat alone."""
    whole = falls_short()
    label = LabelCheck(
        label_heat_w=6000.0,
    )
    return replace(
        whole,
        verdict=Verdict.CANNOT_TELL,
        headline="The label prints no temperature difference, so it promises nothing definite.",
        label=label,
    )


def cannot_tell() -> Proof:
    """An outing of which little is known: every part that may be missing is missing."""
    return replace(
        falls_short(),
        verdict=Verdict.CANNOT_TELL,
        headline="Cannot tell, because the outing has no cool-down and no known heat.",
        reasons=(
            _remark("the outing has no cool-down and no known heat"),
            _remark("The engine was never stopped."),
        ),
        next_step=_remark("Let the machine stand for 25 minutes with the logger running."),
        cautions=(),
        k_w_k=None,
        reference_oil_c=None,
        label=None,
        segments=(),
        phase_fits=(),
        routes=(),
        budget=(),
        ledger=None,
        diagnostics=None,
        model_c=None,
        marks=(),
        peaks_c={},
        limits_c={},
        provenance={},
    )
