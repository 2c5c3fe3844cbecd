"""A fan that speeds up with the oil is noticed on drawn machines, and another is not."""

from dataclasses import replace

from families import FAMILIES
from fans import doubted


def test_most_fans_that_follow_the_oil_are_noticed_in_guided_runs_and_no_other() -> None:
    usual = FAMILIES["heat in the lines"]
    # pinned: 11 of 12, and 1 of 56 others, by the command of `fans`
    assert doubted(replace(usual, follows_oil=True), "guided", 3, 77) >= 2
    assert doubted(usual, "guided", 3, 77) == 0
