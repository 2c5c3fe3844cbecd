"""Files of other loggers: a table in, a session of our format out.

`table` reads the text, `clock` its times, `columns` the role of each column, `times` the times that
the owner types, `asking` the questions, `kept` earlier answers; `adopt` puts them together and
`shown` previews it.
Used by: commands, and the analysis.
"""

__all__ = ()
