"""Links from a page to pages that lie near it, as addresses relative to it."""

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from wattsump_analysis.season.outing import Outing

__all__ = ("SEASON_PAGE", "Links", "href_of")

# The page of a machine's season is looked for in its folder under this name.
SEASON_PAGE = "season.html"


@dataclass(frozen=True, slots=True, kw_only=True)
class Links:
    """Where sessions lie, by the key of their outing, and where the page that links will."""

    page: Path | None = None
    sessions: Mapping[str, Path] = field(default_factory=dict)

    def of(self, outing: Outing) -> str:
        """Return the address of the report that lies beside a session; "" where none does."""
        session = self.sessions.get(outing.key)
        if session is None or self.page is None:
            return ""
        return href_of(session.with_suffix(".html"), self.page)


def href_of(page: Path, linking: Path) -> str:
    """Return the address of `page` as `linking` writes it; "" where no such page lies.

    A name can hold anything: all but letters, digits and slashes is escaped, so no name is
    an address of another kind.
    """
    if not page.is_file() or page.resolve() == linking.resolve():
        return ""
    try:
        return quote(Path(os.path.relpath(page, linking.parent)).as_posix())
    except ValueError:  # on another drive
        return page.resolve().as_uri()
