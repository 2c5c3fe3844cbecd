"""Curves, intervals, residuals and changes over time, for any series.

In: arrays. Out: small results with their intervals. Independent of oil and coolers.
Used by: model, physics, proof, questions, reading, season and show.
"""

__all__: tuple[str, ...] = ()
