"""The fitted thermal network: its likelihood, its search and its draws.

In: a `Record` and a `Knowledge`. Out: `Fitted`, every quantity with its 95 % interval.
Used by: proof.
"""

__all__: tuple[str, ...] = ()
