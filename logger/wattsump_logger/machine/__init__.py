"""The profile of a machine: its channels, oil, metal, cooler, limits.

In: a TOML file. Out: a checked `Profile`.
Used by: calibration, capture, commands, foreign, session and watch, and the analysis.
"""

__all__: tuple[str, ...] = ()
