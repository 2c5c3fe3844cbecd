"""Reads quantities as people type them, and shows them.

In: "20 000 BTU/h". Out: SI numbers, and back.
Used by: commands, foreign, machine, phone, session, watch and wire, and the analysis.
"""

__all__: tuple[str, ...] = ()
