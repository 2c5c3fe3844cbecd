"""The page for a phone: the live screen, pushed to browsers on the local network.

In: screens. Out: a page, and the requests of browsers with the token.
Used by: commands.
"""

__all__: tuple[str, ...] = ()
