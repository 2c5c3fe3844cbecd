"""Results as screens, plots and pages.

In: proofs, trends, comparisons and answers. Out: text, figures, HTML. No physics here.
Used by: commands.
"""

__all__: tuple[str, ...] = ()
