"""From a port or a file of wire bytes to a session.

In: bytes. Out: rows handed to the session, events and counts.
Used by: watch, calibration, bench and commands.
"""

__all__: tuple[str, ...] = ()
