"""Files of other loggers: a table in, a session of our format out.

`table` reads the text, `clock` its times, `columns` the role of each column, `times` the times that
the owner types, `kept` earlier answers; `adopt` puts them together.
Used by: commands, and the analysis.
"""

__all__ = ()
