"""What the analysis supplies to a recording: where the oil is heading, and K so far.

In: the rows so far. Out: a forecast and the guide's advice.
Used by: commands.
"""

__all__: tuple[str, ...] = ()
