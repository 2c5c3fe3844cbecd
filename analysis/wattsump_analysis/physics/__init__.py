"""Published formulas of oil, air, heat exchangers, hoses and heaters.

In: numbers and arrays in SI units. Out: the same. No files, no sessions, no clocks.
Used by: emulation, model, proof, questions, reading, season and show.
"""

__all__: tuple[str, ...] = ()
