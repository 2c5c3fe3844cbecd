"""Corrections of probes: from a bath, from fixed points, and kept beside the profile.

In: readings at known temperatures. Out: corrections with their uncertainty.
Used by: commands, and the analysis.
"""

__all__: tuple[str, ...] = ()
