"""The line protocol: bytes in, events out, no port and no clock.

In: bytes. Out: hello, reading and event frames, and what was wrong with the rest.
Used by: bench and capture, and the analysis.
"""

__all__: tuple[str, ...] = ()
