"""The logger's commands: `ports`, `log`, `import`, `sensors`.

In: words as typed. Out: a session, a screen, an exit code.
Used by: the analysis, which composes the `wattsump` program.
"""

__all__: tuple[str, ...] = ()
