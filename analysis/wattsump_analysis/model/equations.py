"""The declared machine's balances as text, for docs/method.md."""

from wattsump_analysis.model.description import AIR, LINKS, NODES, PROBES, SOURCES, STORES

__all__ = ("equations",)


def equations() -> str:
    """The balances of all nodes as text, a line each."""
    lines = []
    for node in NODES:
        left = [f"{s.quantity} d({s.of})/dt" for s in STORES if s.at == node]
        right = []
        for link in LINKS:
            term = f"{link.quantity} ({link.hot} - {link.cold})"
            if link.enters == node:
                right.append(f"+ {term}")
            if link.leaves == node:
                right.append(f"- {term}")
        right += [f"+ {s.quantity} x {s.heat}" for s in SOURCES if s.enters == node]
        lines.append(f"{' + '.join(left)} =\n    {' '.join(right).removeprefix('+ ')}")
    for probe in PROBES:
        text = f"{probe.name} reads {probe.node}"
        if probe.flow:
            text += (
                f" - ({probe.cooled} ({probe.node} - {AIR}) + {probe.stored} d({probe.node})/dt)"
            )
            text += f" / {probe.flow}"
        lines.append(f"{text}, {probe.lag} late")
    return "\n".join(lines)
