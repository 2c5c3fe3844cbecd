"""From a session to the input of the fit.

In: a `Session` and a `Profile`. Out: a `Record` of bins, the phases of the outing, its cuts, what
the profile says of the machine (`Knowledge`), and remarks on probes and switches.
Used by: commands, emulation, live, model, proof, questions, season and show.
"""

__all__: tuple[str, ...] = ()
