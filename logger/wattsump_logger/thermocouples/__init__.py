"""From a converter's raw word to degrees Celsius.

In: raw words. Out: temperatures and faults, by ITS-90 and each chip's datasheet.
Used by: bench, capture and wire.
"""

__all__: tuple[str, ...] = ()
