"""Tests run as the program does: one thread of linear algebra in each process.

The processors are shared by test processes already, and threads that wait for one another took
twenty times the processor time of the work itself.
"""

from wattsump_analysis import threads

threads.one_by_default()  # before any test module loads numpy
