"""The declared machine's balances and priors as text, for docs/method.md."""

import numpy as np

from wattsump_analysis.arrays import FloatArray
from wattsump_analysis.model.case import LAYOUTS, Case, Gaussian, Layout
from wattsump_analysis.model.description import (
    AIR,
    LINKS,
    NODES,
    PARAMETERS,
    PROBES,
    SOURCES,
    STORES,
    UNKNOWNS,
)
from wattsump_analysis.model.network import natural
from wattsump_analysis.reading.machine import knowledge
from wattsump_analysis.reading.record import OILS, Record
from wattsump_analysis.statistics.intervals import NORMAL_95

__all__ = ("equations", "priors")


def equations() -> str:
    """The balances of all nodes as text, a line each."""
    lines = []
    for node in NODES:
        stored = [f"{s.quantity} d({s.of})/dt" for s in STORES if s.at == node]
        flows = []
        for link in LINKS:
            term = f"{link.quantity} ({link.hot} - {link.cold})"
            if link.enters == node:
                flows.append(f"+ {term}")
            if link.leaves == node:
                flows.append(f"- {term}")
        flows += [f"+ {s.quantity} x {s.heat}" for s in SOURCES if s.enters == node]
        lines.append(f"{' + '.join(stored)} =\n    {' '.join(flows).removeprefix('+ ')}")
    for probe in PROBES:
        text = f"{probe.name} reads {probe.node}"
        if probe.flow:
            text += (
                f" - ({probe.cooled} ({probe.node} - {AIR}) + {probe.stored} d({probe.node})/dt)"
            )
            text += f" / {probe.flow}"
        text += f" + {probe.contact} ({AIR} - reading)"
        lines.append(f"{text}, {probe.lag} late")
    return "\n".join(lines)


def priors() -> str:
    """Prior of every parameter for a machine without a profile, as text.

    A line each: name, median and 95 % range (in both layouts if they differ), meaning. Parameters
    that no reading of such an outing depends on are fixed, and not listed.
    """
    lines = []
    for declared in (*PARAMETERS, *UNKNOWNS):
        each = dict.fromkeys(
            _range(declared.name, prior)
            for layout in LAYOUTS
            for rpm in (None, np.array([0.0, 800.0, 2400.0, 2400.0, 2400.0]))
            if (prior := declared.prior(_everything(layout, rpm))).sd > 0.0
        )
        if each:
            lines.append(f"{declared.name}: {' or '.join(each)}; {declared.meaning}")
    return "\n".join(lines)


def _range(name: str, prior: Gaussian) -> str:
    low, middle, high = (
        natural(name, prior.mean + side * NORMAL_95 * prior.sd) for side in (-1.0, 0.0, 1.0)
    )
    return f"{middle:.3g} ({low:.3g} to {high:.3g})"


def _everything(layout: Layout, rpm: FloatArray | None) -> Case:
    """An outing with every channel logged, and every state of the machine."""
    some = np.array([0.0, 1.0, 1.0, 1.0, 1.0])
    record = Record(
        bin_s=20.0,
        elapsed_s=np.linspace(0.0, 80.0, 5),
        oils_c=dict.fromkeys(OILS, 60.0 * some),
        ambient_c=20.0 * some,
        fan=np.array([0.0, 0.0, 1.0, 0.0, 1.0]),
        engine=some,
        moving=np.array([0.0, 0.0, 1.0, 1.0, 0.0]),
        heater_w=500.0 * (1.0 - some),
        work=np.array([-1, 0, 1, 1, 0]),
        engine_rpm=rpm,
    )
    know = knowledge(None, 60.0, matched=True)
    return Case(record=record, know=know, layout=layout, viscosity_mm2_s=np.full(5, 200.0))
