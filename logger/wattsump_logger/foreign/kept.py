"""Answers about a table, kept for the next file with the same column names.

`bracken.toml` has `bracken.columns.json` beside it; without a machine it is `columns.json` in
the folder that the sessions go to.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from wattsump_logger.errors import SessionError
from wattsump_logger.inputs import read_small
from wattsump_logger.session.wholefile import write_whole

__all__ = ("Answers", "answers_for", "beside", "keep")

FORMAT = "wattsump-columns-1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Answers:
    """Answers about a table: columns as typed, by name, and settings by question.

    `settings` holds those of `dates`, `decimals`, `temperatures` and `times` that were asked.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    settings: Mapping[str, str] = field(default_factory=dict)


def beside(machine: Path | None, folder: Path) -> Path:
    """Return where the answers for a machine's files are kept.

    >>> beside(Path("bracken.toml"), Path()).name
    'bracken.columns.json'
    """
    if machine is None:
        return folder / "columns.json"
    return machine.with_name(machine.stem + ".columns.json")


def answers_for(path: Path, names: Sequence[str]) -> Answers | None:
    """Return the answers kept for a table with these names, None if there are none.

    Raises
    ------
    SessionError
        The file is there and cannot be read.
    """
    for entry in _entries(path):
        if entry.get("names") == list(names):
            return Answers(columns=_texts(entry, "columns"), settings=_texts(entry, "settings"))
    return None


def keep(path: Path, names: Sequence[str], answers: Answers) -> None:
    """Keep the answers, in place of earlier ones for the same names."""
    entries = [entry for entry in _entries(path) if entry.get("names") != list(names)]
    entries.append(
        {
            "names": list(names),
            "columns": dict(answers.columns),
            "settings": dict(answers.settings),
        }
    )
    text = json.dumps({"format": FORMAT, "tables": entries}, ensure_ascii=False, indent=2)
    path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(path, text + "\n")


def _entries(path: Path) -> list[dict[str, object]]:
    try:
        document = json.loads(read_small(path))
        entries = document["tables"] if document["format"] == FORMAT else None
    except FileNotFoundError:
        return []
    except (OSError, ValueError, LookupError, TypeError):
        entries = None
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise SessionError(
            expected=f"answers kept as {FORMAT}",
            found="something else",
            where=str(path),
            do="move it away; the questions are then asked again",
        )
    return entries


def _texts(entry: Mapping[str, object], key: str) -> dict[str, str]:
    values = entry.get(key)
    return {str(k): str(v) for k, v in values.items()} if isinstance(values, dict) else {}
