"""One outing proved: watts, their routes, the ledger and the verdict.

In: a `Session` and a `Profile`. Out: a `Proof`, with reasons, cautions and the next step.
Used by: season, questions, show and commands.
"""

__all__: tuple[str, ...] = ()
