"""Controllers without hardware: emulated in Python, or the firmware on an emulated chip.

In: a source of channel values. Out: a port that sends frames.
Used by: the analysis.
"""

__all__: tuple[str, ...] = ()
