"""Supplies of a recording: the forecast of the oil temperature, and K so far.

In: the rows so far. Out: a forecast and the guide's advice.
Used by: commands.
"""

__all__: tuple[str, ...] = ()
