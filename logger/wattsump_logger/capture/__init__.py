"""From a port or a file of wire bytes to a session.

In: bytes. Out: rows handed to the session, events and counts.
Used by: watch and commands, and the analysis.
"""

__all__: tuple[str, ...] = ()
