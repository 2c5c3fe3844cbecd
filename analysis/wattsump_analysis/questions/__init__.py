"""The owner's questions: each a function from what was typed to an `Answer`.

In: typed words and, where there is one, a proof. Out: an `Answer`, which `writing` turns into
text or JSON.
Used by: commands and show.
"""

__all__: tuple[str, ...] = ()
