"""The session on disk: CSV, sidecar, and their reader.

In: rows. Out: files that survive a power cut; a `Session` from such files.
Used by: calibration, capture, commands, foreign, phone and watch, and the analysis.
"""

__all__: tuple[str, ...] = ()
