"""An invented machine: its plant, its outings and its season.

In: a stage plan. Out: channel values for the emulated controller, or a whole rehearsal.
Used by: the demonstration, docs, sample-data and tests; never by a proof.
"""

__all__: tuple[str, ...] = ()
