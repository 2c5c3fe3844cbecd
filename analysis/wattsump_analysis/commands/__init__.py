"""The `wattsump` program: one module a command, put together in `program`.

In: words as typed. Out: a screen, files and an exit code. Imported by nothing.
"""

__all__: tuple[str, ...] = ()
