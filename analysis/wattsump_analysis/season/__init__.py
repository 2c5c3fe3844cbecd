"""Many outings: gathered from a folder, stored, compared and tested for changes.

In: proofs of single outings. Out: `Comparison` and `Trend`, with the likely cause of a change.
Used by: commands and show.
"""

__all__: tuple[str, ...] = ()
