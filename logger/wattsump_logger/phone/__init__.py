"""The page for a phone: what the live screen knows, pushed to browsers on the local network.

In: screens. Out: a page, and what is asked for by who holds the token. Used by: the command `log`.
"""

__all__: tuple[str, ...] = ()
