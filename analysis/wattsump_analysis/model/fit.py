"""Fit the thermal network to a record, and report the result in watts.

`fit_record` gives every quantity a 95 % interval from the posterior over all layouts of
`description`, so that no result is more certain than the inputs it depends on.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.activity import HEATING_W, stood_ks
from wattsump_analysis.model.case import LAYOUTS, Case, Gaussian
from wattsump_analysis.model.description import NODES, PARAMETERS, PROBES, UNKNOWNS
from wattsump_analysis.model.network import Network, Smooth
from wattsump_analysis.model.posterior import Mode, Posterior, Target, draw_from, find_mode
from wattsump_analysis.physics.oil import (
    specific_heat_j_kgk,
    viscosity_mm2_s,
    volumetric_heat_j_m3k,
)
from wattsump_analysis.reading.machine import Knowledge
from wattsump_analysis.reading.record import Record
from wattsump_analysis.results import BudgetLine, Interval
from wattsump_analysis.statistics.intervals import interval, span_of
from wattsump_logger.arrays import BoolArray

__all__ = (
    "LATE_S",
    "Fitted",
    "ModelForm",
    "build_target",
    "carried",
    "conductance_w_k",
    "fit_record",
    "latest",
    "model_form",
    "modes_of",
    "reference_oil_c",
    "rests_on_layout",
    "stated_tells",
)

POSSIBLE_EVIDENCE = 8.0  # a layout whose mode is this much less likely is dropped
LEDGER_DRAWS = 120
SHARED = (
    "oil_j_k",
    "metal_j_k",
    "oil_heat",
    "shell_w_k",
    "oil_flow_w_k",
)  # unaffected by work on the cooler
STARTING_K_W_K = (30.0, 45.0, 65.0, 90.0, 130.0, 180.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitted:
    """Posterior of one record and the quantities people ask for.

    `k_w_k` and `k_draws` refer to the oil into the cooler, or to the tank if there is no probe at
    the cooler; `k_inlet_draws` always to the oil into the cooler, as a label does. `paths` are
    joint draws of states and heats, each a closed heat balance. The model forms of K, C and the
    heats are drawn separately, so `k_over_c_per_s` is wider than the readings alone would make it.
    """

    posterior: Posterior
    network: Network
    smooth: Smooth
    reference_c: float
    layout: str
    layout_share: float
    nodes: int
    k_w_k: Interval
    capacity_j_k: Interval
    heat_in_w: Interval
    shell_w_k: Interval
    k_over_c_per_s: Interval
    k_draws: FloatArray
    k_inlet_draws: FloatArray
    paths: tuple[Smooth, ...]
    budget: tuple[BudgetLine, ...]
    scale_known: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelForm:
    """Error of the network as a model of a machine, as standard deviations of logarithms."""

    k: float
    capacity: float
    heat: float


# Each is what must be added in quadrature for 95 % of the intervals to hold the truth, rounded up
# to 0.005. For K it comes from machines of 20 different families (tests/validation/families.py;
# form.py omits the family it is computed for, docs/validation.md has what it finds), for capacity
# and heat still from two plants, with a stirred tank and with a still one.
STEPPED = ModelForm(k=0.065, capacity=0.045, heat=0.045)
# The fan off only once, for five minutes, in a day's work, often with unmatched probes.
STEPPED_ONCE = ModelForm(k=0.08, capacity=0.045, heat=0.12)
# The same two with the cooler's probes on their pipes' walls.
STEPPED_OUTSIDE = ModelForm(k=0.08, capacity=0.045, heat=0.06)
STEPPED_ONCE_OUTSIDE = ModelForm(k=0.105, capacity=0.045, heat=0.12)
# And with the engine stopped in between, warm: what the stand did to oil that no probe reads is not
# known.
RESTARTED = ModelForm(k=0.11, capacity=0.045, heat=0.12)
WARM_STAND_KS = 10.0 * 180.0  # oil over air [K] times seconds: shorter or colder stands do little
GUIDED_SWITCHINGS = 4  # of the fan under load: off more than once
STEPPED_STATED_FLOW = ModelForm(k=0.05, capacity=0.045, heat=0.045)
STEPPED_WITH_FLOW = ModelForm(k=0.045, capacity=0.035, heat=0.035)
TANK_ONLY = ModelForm(k=0.05, capacity=0.035, heat=0.03)
HEATED = ModelForm(k=0.045, capacity=0.045, heat=0.055)
# A heater warms standing oil by paths that work does not use, so it shows less of the capacity than
# a heater in circulating oil.
HEATED_STANDING = ModelForm(k=0.1, capacity=0.08, heat=0.12)
HEATED_PAD = ModelForm(k=0.07, capacity=0.08, heat=0.12)
UNSTEPPED = ModelForm(k=0.065, capacity=0.015, heat=0.075)
# Pipe probes and nothing that fixes the scale: the others need 0.065 to 0.095 for the omitted one.
# Twice that is kept, since the scale is then that of the layouts alone, and an owner's machine may
# have another: too wide for a verdict.
UNSTEPPED_PIPES = ModelForm(k=0.20, capacity=0.015, heat=0.20)
UNSTEPPED_WITH_FLOW = ModelForm(k=0.08, capacity=0.035, heat=0.05)
SHORT_RUN = ModelForm(k=0.135, capacity=0.005, heat=0.075)
SHORT_S = 2400.0  # without a fan step, an outing shorter than this is nearly all warm-up
# At the least, where a probe is later than `LATE_S`: K of drawn machines with all probes 12 to 90 s
# late was off by up to 26 % (tests/validation/probes.py). The tank's does it; two probes on the
# walls of their pipes, 18 to 140 s late both, do not.
LATE = ModelForm(k=0.12, capacity=0.045, heat=0.12)
LATE_S = 25.0
# The walls of both pipes have lags that are alike. One much later than the other, or than any wall,
# is oil that hardly flows.
UNLIKE_LAGS, WALL_S = 3.0, 150.0


def model_form(record: Record, know: Knowledge | None = None) -> ModelForm:
    """Model form by what the record has: a fan step under load, pipe probes, a flow meter."""
    loaded = record.engine > 0.9
    stepped = bool(np.any(loaded & (record.fan < 0.1)) and np.any(loaded & (record.fan > 0.9)))
    if not stepped:
        if record.bins * record.bin_s < SHORT_S:
            return SHORT_RUN
        if flow_tells(record) or stated_tells(record, know):
            return UNSTEPPED_WITH_FLOW
        return UNSTEPPED_PIPES if "cooler_in" in record.oils_c else UNSTEPPED
    if "cooler_in" not in record.oils_c:
        return TANK_ONLY
    heated = record.heater_w > HEATING_W
    if np.any(heated):
        if np.any(heated & (record.engine > 0.5)):
            return HEATED
        return HEATED_PAD if know is not None and know.heater_bonded else HEATED_STANDING
    if flow_tells(record):
        return STEPPED_WITH_FLOW
    if stated_tells(record, know):
        return STEPPED_STATED_FLOW
    return _of_fan_steps(record, know)


def _of_fan_steps(record: Record, know: Knowledge | None) -> ModelForm:
    """Model form where the fan's steps are all that tells watts."""
    loaded = record.engine > 0.9
    outside = know is not None and know.is_outside("cooler_in")
    if np.count_nonzero(np.diff(record.fan[loaded] > 0.5)) >= GUIDED_SWITCHINGS:
        return STEPPED_OUTSIDE if outside else STEPPED
    if np.any(stood_ks(record, record.oils_c["tank"]) > WARM_STAND_KS):
        return RESTARTED
    return STEPPED_ONCE_OUTSIDE if outside else STEPPED_ONCE


def stated_tells(record: Record, know: Knowledge | None) -> bool:
    """Whether a flow that was stated, not recorded, gives watts."""
    return know is not None and know.oil_flow_w_k is not None and "cooler_in" in record.oils_c


def flow_tells(record: Record) -> bool:
    """Whether a recorded oil flow gives watts, which takes the oil's temperature in the pipe."""
    return record.flow_w_k is not None and "cooler_in" in record.oils_c


def rests_on_layout(record: Record, know: Knowledge | None = None) -> bool:
    """Whether neither fan step, flow, stated flow nor heater gives watts whatever the layout."""
    heated = bool(np.any(record.heater_w > HEATING_W))
    told = heated or flow_tells(record) or stated_tells(record, know)
    return not told and model_form(record) in (UNSTEPPED, UNSTEPPED_PIPES, SHORT_RUN)


def reference_oil_c(record: Record) -> float:
    """Oil temperature at which K is stated: the mean of the warm half with fan and flow."""
    oil = _oil_c(record)
    on = (record.fan > 0.9) & (record.engine > 0.9)
    seen = oil[on] if on.any() else oil
    return float(np.mean(seen[seen >= np.median(seen)]))


def _oil_c(record: Record) -> FloatArray:
    """Oil into the cooler; without a reading, the tank's plus their mean difference.

    Otherwise an inlet probe that fails in the cold would keep the oil thick for the whole outing.
    """
    oil = record.oils_c["tank"]
    inlet = record.oils_c.get("cooler_in")
    if inlet is not None:
        difference = inlet - oil
        both = np.isfinite(difference)
        estimate = oil + (np.mean(difference[both]) if both.any() else 0.0)
        oil = np.where(np.isfinite(inlet), inlet, estimate)
    seen = np.isfinite(oil)
    return np.asarray(np.interp(record.elapsed_s, record.elapsed_s[seen], oil[seen]))


def carried(fitted: Fitted, form: ModelForm) -> dict[str, Gaussian]:
    """Priors for the next piece of an outing: the same oil, metal, shell and flow.

    The network's error may have shifted them, so the model form of the capacity is added.
    """
    priors = {}
    for name in SHARED:
        before = fitted.posterior.priors[name]
        logs = np.log(fitted.posterior.column(name))
        after = Gaussian(
            mean=float(np.mean(logs)),
            sd=float(np.hypot(np.std(logs), form.capacity)),
            stated=before.stated,
            replaced=before.original,
        )
        if 0.0 < after.sd < before.sd:
            priors[name] = after
    return priors


def build_target(
    record: Record, know: Knowledge, shared: Mapping[str, Gaussian] | None = None
) -> Target:
    """Network of a record, with the oil's viscosity and heat capacity in each bin, and priors.

    `shared` are priors that replace the usual ones in every layout.
    """
    reference = reference_oil_c(record)
    filled = _oil_c(record)
    nu = viscosity_mm2_s(np.append(filled, reference), know.walther)
    cp = specific_heat_j_kgk(np.append(filled, reference))
    pumped = volumetric_heat_j_m3k(np.append(filled, reference))
    cases = [
        Case(record=record, know=know, layout=layout, viscosity_mm2_s=nu[:-1]) for layout in LAYOUTS
    ]
    network = Network(
        record,
        nu[:-1],
        float(nu[-1]),
        cp[:-1] / cp[-1],
        pumped[:-1] / pumped[-1],
        {unknown.name: unknown.prior(cases[0]) for unknown in UNKNOWNS},
        start_spread_k=2.0 if record.engine[0] < 0.5 else 10.0,
        flow_of_pump=know.flow_of_pump and record.flow_w_k is None,
        heater_bonded=know.heater_bonded,
        size=cases[0].size,
    )
    priors = [{declared.name: declared.prior(case) for declared in PARAMETERS} for case in cases]
    return Target(network, [prior | dict(shared or {}) for prior in priors])


def conductance_w_k(network: Network, given: Any) -> FloatArray:
    """K [W/K] of parameters (trials, 1): from the oil into the cooler, or from the tank.

    Without a probe at the cooler the oil's flow, and so the oil's excess over the tank at the
    inlet, is hardly known; heat over the tank's excess over the air does not depend on it.
    """
    warm = _warm(network)
    k = np.atleast_1d(np.squeeze(given.cooler_w_k))
    if "cooler_in" in network.record.oils_c or not warm.any():
        return k
    paths = network.smooths(given)
    excess = np.array([np.sum((path.tank_c - path.air_c)[warm]) for path in paths])
    return np.asarray([path.cooler_w[warm].sum() for path in paths] / excess)


def _warm(network: Network) -> BoolArray:
    """The warmer half, by the tank, of the bins with fan and flow."""
    record, tank_c = network.record, network.base_c
    on = (record.fan > 0.9) & (record.engine > 0.9)
    return np.asarray(on & (tank_c >= np.median(tank_c[on]))) if on.any() else on


def _budget(posterior: Posterior, log_k: FloatArray, form_k: float) -> tuple[BudgetLine, ...]:
    """Relative standard uncertainty of K from each stated input, and from the readings.

    The sensitivity of ln K to the mean of prior i is its posterior covariance with i over
    the prior's variance, so the contribution is covariance over standard deviation (GUM eq.
    10 with these sensitivities); the rest is type A and weak priors. A part below the sampling
    error of the covariance is not significant and stays in the rest.
    """
    weights = posterior.weights
    deviations = log_k - weights @ log_k
    rest = float(weights @ deviations**2)
    noise = float(np.sqrt(rest * np.sum(weights**2)))
    lines = [BudgetLine(source="model form", kind="B", relative=form_k)]
    for column, name in enumerate(posterior.names):
        prior = posterior.priors[name]
        if prior.stated:
            part = float(weights @ (deviations * posterior.draws[:, column])) / prior.sd
            if abs(part) > noise:
                lines.append(BudgetLine(source=name, kind="B", relative=abs(part)))
                rest -= part**2
    lines.append(BudgetLine(source="readings", kind="A", relative=float(np.sqrt(max(rest, 0)))))
    return tuple(sorted(lines, key=lambda line: -line.relative))


def _starts(target: Target) -> list[FloatArray]:
    """Two starts of the search, each with the most likely K there.

    The first has the usual wander of the load. The second has little wander and explains the
    readings by errors of the balance, which last a minute and so cannot imitate a fan: a search in
    which the wander grows first can end at a mode where the fan has no effect.
    """
    usual = target.mean[0].copy()
    calm = usual.copy()
    calm[target.names.index("wander_w")] = np.log(150.0)
    calm[target.names.index("model_error_w")] = np.log(200.0)
    places = []
    for start in (usual, calm):
        tries = np.repeat(start[np.newaxis], len(STARTING_K_W_K), axis=0)
        tries[:, target.names.index("cooler_w_k")] = np.log(STARTING_K_W_K)
        places.append(tries[int(np.argmin(target.many(tries)))])
    return places


def fit_record(
    record: Record,
    know: Knowledge,
    rng: np.random.Generator,
    progress: Callable[[str], None] = lambda text: None,
    *,
    form: ModelForm | None = None,
    shared: Mapping[str, Gaussian] | None = None,
) -> Fitted:
    """Find the mode in every layout, and draw from the posterior over all.

    Parameters
    ----------
    record : Record
        Binned outing without a swap.
    know : Knowledge
        Capacities, flow and probe errors.
    rng : Generator
        Source of the draws.
    progress : callable
        Called with the step that begins, in a few words.
    form : ModelForm, optional
        Error of the network; that of `model_form` if not given.
    shared : mapping of str to Gaussian, optional
        Priors from an earlier piece of the same outing, by `carried`.

    Returns
    -------
    Fitted

    Raises
    ------
    ArithmeticError
        The posterior is zero wherever the draws could start.
    """
    target = build_target(record, know, shared)
    progress("layouts of the machine")
    modes = modes_of(target)
    progress("draws of the machine")
    posterior = draw_from(target, modes, rng)
    form = model_form(record, know) if form is None else form
    if latest(posterior)[1] > LATE_S:
        form = ModelForm(
            k=max(form.k, LATE.k),
            capacity=max(form.capacity, LATE.capacity),
            heat=max(form.heat, LATE.heat),
        )
    return _reported(posterior, know, form, rng)


def latest(posterior: Posterior) -> tuple[str, float]:
    """The probe that follows its oil latest, and its lag [s], of those whose lag tells on K."""
    lags_s = {probe.name: float(np.median(posterior.column(probe.lag))) for probe in PROBES}
    name = max(lags_s, key=lambda one: lags_s[one])
    quicker_s = min(lag_s for probe, lag_s in lags_s.items() if probe != "tank")
    both = posterior.target.network.record.reads_both_pipes
    if both and lags_s[name] < min(UNLIKE_LAGS * quicker_s, WALL_S):
        name = "tank"
    return name, lags_s[name]


def modes_of(target: Target) -> list[Mode]:
    """Modes in those layouts that the readings do not exclude."""
    modes: list[Mode] = []
    for layout in range(len(target.layouts)):
        part = target.only(layout)
        starts = _starts(part)
        if modes:
            # Parameters with the same prior in all layouts start from the first layout's mode.
            same = np.all(target.mean == target.mean[layout], axis=0)
            starts = [np.where(same, modes[0].theta, part.mean[0])]
        modes.append(find_mode(part, starts))
    highest = max(mode.log_evidence for mode in modes)
    return [mode for mode in modes if highest - mode.log_evidence < POSSIBLE_EVIDENCE]


def _reported(
    posterior: Posterior, know: Knowledge, form: ModelForm, rng: np.random.Generator
) -> Fitted:
    network = posterior.target.network
    record, weights = network.record, posterior.weights
    form_noise = rng.standard_normal((3, weights.size))
    k_fitted = conductance_w_k(network, posterior.given(posterior.draws))
    k = k_fitted * np.exp(form.k * form_noise[0])
    oil = posterior.column("oil_j_k") * posterior.column("oil_heat")
    capacity = oil + posterior.column("metal_j_k")
    capacity = capacity * np.exp(form.capacity * form_noise[1])
    picks = rng.choice(weights.size, LEDGER_DRAWS, replace=False)
    paths = network.smooths(posterior.given(posterior.draws[picks]), rng)
    scales = np.exp(form.heat * rng.standard_normal(LEDGER_DRAWS))
    paths = [_scaled(path, scale) for path, scale in zip(paths, scales, strict=True)]
    loaded = (record.work >= 0) & (record.heater_w < HEATING_W)
    heat = np.array([path.heat_w[loaded if loaded.any() else slice(None)].mean() for path in paths])
    scale_known = know.oil_j_k is not None or flow_tells(record) or stated_tells(record, know)
    smooth = network.smooth(posterior.given(posterior.mode))
    k_inlet = k
    if "cooler_in" not in record.oils_c:
        k_inlet = _over_inlet(network, smooth, k, posterior.priors["oil_flow_w_k"].original, rng)
    return Fitted(
        posterior=posterior,
        network=network,
        smooth=smooth,
        reference_c=reference_oil_c(record),
        layout=LAYOUTS[int(np.argmax(posterior.layout))].name,
        layout_share=float(np.max(posterior.layout)),
        nodes=len(NODES),
        k_w_k=interval(k, weights),
        capacity_j_k=interval(capacity, weights),
        heat_in_w=span_of(heat),
        shell_w_k=interval(posterior.column("shell_w_k"), weights),
        k_over_c_per_s=interval(k / capacity, weights),
        k_draws=k,
        k_inlet_draws=k_inlet,
        paths=tuple(paths),
        budget=_budget(posterior, np.log(k_fitted), form.k),
        scale_known=scale_known,
    )


def _over_inlet(
    network: Network,
    smooth: Smooth,
    k_w_k: FloatArray,
    oil_flow: Gaussian,
    rng: np.random.Generator,
) -> FloatArray:
    """Draws of K referred to the oil into the cooler, from draws referred to the tank [W/K].

    Oil from the drive is warmer than the tank by its heat over its flow. A tank probe alone does
    not determine that flow, and the flow's posterior is misleading (K 11 % too high on drawn
    machines), so its prior is used: `oil_flow` is the prior of the flow times its heat capacity, or
    of the factor on a recorded flow.
    """
    warm = _warm(network)
    if not warm.any():
        return k_w_k
    cooler_w, shell_w = smooth.cooler_w[warm].mean(), smooth.shell_w[warm].mean()
    carried = k_w_k * float(np.mean(smooth.heat_w[warm]) - 0.5 * shell_w) / float(cooler_w)
    flow_w_k = np.exp(oil_flow.mean + oil_flow.sd * rng.standard_normal(k_w_k.size))
    if network.record.flow_w_k is not None:
        flow_w_k *= np.mean(network.record.flow_w_k[warm])
    return np.asarray(k_w_k / (1.0 + carried / flow_w_k))


def _scaled(path: Smooth, scale: float) -> Smooth:
    """The path with every heat `scale` times as large, so that its balance still closes."""
    return replace(
        path,
        heat_w=scale * path.heat_w,
        heater_w=scale * path.heater_w,
        cooler_w=scale * path.cooler_w,
        shell_w=scale * path.shell_w,
        stored_j=scale * path.stored_j,
    )
