"""What the driver sees and hears while recording: screen, alarms, guide, marks.

In: each new row. Out: a screen, alarms, advice, marks for the session.
Used by: commands and phone, and the analysis.
"""

__all__: tuple[str, ...] = ()
