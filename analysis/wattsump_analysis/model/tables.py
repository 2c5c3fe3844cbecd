"""The declared machine as tables of numbers for `kernel`."""

from dataclasses import dataclass

from wattsump_analysis.model.description import AIR, Link

__all__ = ("Stamps", "Tables", "ends_of")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """The description as numbers for `kernel`."""

    elements: tuple[tuple[str, ...], ...]  # of quantities, whose product each is
    stamps: tuple[tuple[int, ...], ...]
    factors: tuple[float, ...]
    feeds: tuple[tuple[int, ...], ...]
    feed_factors: tuple[float, ...]
    readings: tuple[tuple[int, ...], ...]


class Stamps:
    """Tables under construction: elements without repeats, and the entries they add to."""

    def __init__(self) -> None:
        self.elements: list[tuple[str, ...]] = []
        self.stamps: list[tuple[int, int, int, int]] = []
        self.factors: list[float] = []
        self.feeds: list[tuple[int, int, int, int]] = []
        self.feed_factors: list[float] = []

    def element(self, *quantities: str) -> int:
        """Row of a product of quantities among the elements."""
        if quantities not in self.elements:
            self.elements.append(quantities)
        return self.elements.index(quantities)

    def stamp(self, kind: int, row: int, column: int, of: int, factor: float) -> None:
        """Add to E (kind 0) or M (kind 1)."""
        self.stamps.append((kind, row, column, of))
        self.factors.append(factor)

    def feed(self, row: int, column: int, of: int, source: int, factor: float) -> None:
        """Add an input, by itself (column 0) or times an unknown."""
        self.feeds.append((row, column, of, source))
        self.feed_factors.append(factor)


def ends_of(link: Link) -> list[tuple[str, str, float]]:
    """Balance, temperature and sign of every term that a link has in a node's balance."""
    return [
        (node, end, side)
        for node, sign in ((link.enters, 1.0), (link.leaves, -1.0))
        if node != AIR
        for end, side in ((link.hot, sign), (link.cold, -sign))
    ]
