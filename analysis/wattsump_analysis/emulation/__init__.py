"""An invented machine: its plant, its outings and its season.

In: a stage plan. Out: channel values for the emulated controller, or a whole rehearsal.
Used by: commands, and scripts of docs, sample-data and tests.
"""

__all__: tuple[str, ...] = ()
