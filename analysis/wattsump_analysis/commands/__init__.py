"""The `wattsump` program: one module a command, put together in `program`.

In: words as typed. Out: a screen, files and an exit code. Used by: no other room.
"""

__all__: tuple[str, ...] = ()
