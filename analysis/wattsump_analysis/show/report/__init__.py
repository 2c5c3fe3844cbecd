"""The report of one outing, one HTML file.

In: a `Proof` and the answers that belong to it. Out: a page that needs no network.
Used by: commands.
"""

__all__: tuple[str, ...] = ()
