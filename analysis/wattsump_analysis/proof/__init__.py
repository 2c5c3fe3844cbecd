"""The proof of one outing: watts, their routes, the ledger and the verdict.

In: a `Session` and a `Profile`. Out: a `Proof`, with reasons, cautions and the next step.
Used by: commands, live, season and show; others read the `Proof`, which is in `results`.
"""

__all__: tuple[str, ...] = ()
