"""From a session to what the fit reads.

In: a `Session` and a `Profile`. Out: a `Record` of bins, the phases of the outing, its cuts, what
the profile says of the machine (`Knowledge`), and suspicions about probes.
Used by: model, proof, season, questions, live, show.
"""

__all__: tuple[str, ...] = ()
