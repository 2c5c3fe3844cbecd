"""Files of other loggers: a table of anyone's making in, a session of our format out.

`table` reads the text, `clock` its times, `columns` what each column is, `times` what the owner
adds by hand, `kept` what was answered before; `adopt` puts them together. Only commands import it.
"""

__all__ = ()
