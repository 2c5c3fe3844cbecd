"""Figures of an outing and of a season.

In: a `Proof` or a `Trend`. Out: matplotlib axes, or files of them.
Used by: the report and commands.
"""

__all__: tuple[str, ...] = ()
