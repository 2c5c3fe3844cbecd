"""Curves, intervals, residuals and changes over time, for any series.

In: arrays. Out: small results with their intervals. Independent of oil and coolers.
Used by: every room above.
"""

__all__: tuple[str, ...] = ()
