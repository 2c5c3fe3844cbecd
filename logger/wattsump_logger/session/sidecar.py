"""The session's sidecar: its columns, controller and machine, as CSV on the Web.

Follows the W3C recommendations "Metadata Vocabulary for Tabular Data" and "Model for
Tabular Data and Metadata on the Web" (2015-12-17). Everything these have no name for is one
object under `notes`, which the vocabulary keeps for annotations of any form.
"""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from wattsump_logger.errors import SessionError
from wattsump_logger.inputs import read_small
from wattsump_logger.remark import Remark
from wattsump_logger.session.rows import FIXED_COLUMNS
from wattsump_logger.session.wholefile import SIDECAR_END, write_whole
from wattsump_logger.units.quantities import COLUMN_UNITS

__all__ = ("FORMAT", "describe", "read_sidecar", "sidecar_path", "write_sidecar")

FORMAT = "wattsump-session-1"

_MOST_SHOWN = 200  # characters of a damaged file in a message


def sidecar_path(session: Path) -> Path:
    """Return where the sidecar of a session CSV is: `<name>.csv-metadata.json`."""
    return session.with_name(session.name + SIDECAR_END)


def describe(name: str, columns: Sequence[str], metadata: Mapping[str, object]) -> str:
    """Return the sidecar's text for the CSV file `name` with these columns."""
    document = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": name,
        "dc:conformsTo": FORMAT,
        "dialect": {"encoding": "utf-8", "header": True, "lineTerminators": ["\r\n", "\n"]},
        "tableSchema": {"columns": [_column(column) for column in columns]},
        "notes": [{"format": FORMAT, **metadata}],
    }
    return json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False) + "\n"


def _column(column: str) -> dict[str, object]:
    if column in FIXED_COLUMNS:
        base, meaning, unit = FIXED_COLUMNS[column]
    elif column.endswith("_on"):
        base, meaning, unit = "integer", "1 is on, 0 is off; empty is no reading", ""
    else:
        unit = COLUMN_UNITS.get(column.rpartition("_")[2], "")
        base, meaning = "number", "reading; empty is no reading"
    described: dict[str, object] = {
        "name": column,
        "titles": column,
        "datatype": base,
        "dc:description": meaning,
    }
    if unit:
        described["schema:unitText"] = unit
    return described


def write_sidecar(session: Path, columns: Sequence[str], metadata: Mapping[str, object]) -> None:
    """Write the sidecar in one step, so that a half-written one never replaces a whole one."""
    write_whole(sidecar_path(session), describe(session.name, columns, metadata))


def read_sidecar(
    session: Path, columns: Sequence[str]
) -> tuple[dict[str, object], tuple[Remark, ...]]:
    """Return the session's metadata, {} if it cannot be used, and notes on why."""
    path = sidecar_path(session)
    try:
        document = json.loads(read_small(path))
        metadata = dict(document["notes"][0])
        described = [str(column["name"]) for column in document["tableSchema"]["columns"]]
        url = document["url"]
    except FileNotFoundError:
        return {}, (
            Remark(
                code="no-sidecar",
                text=f"no sidecar {path.name}: units are taken from the column names",
            ),
        )
    except (OSError, ValueError, LookupError, TypeError, RecursionError) as error:
        reason = f"{error}"[:_MOST_SHOWN]
        return {}, (
            Remark(
                code="sidecar-unreadable",
                text=f"sidecar {path.name} cannot be read and was not used ({reason}): give the "
                "machine's profile with --machine",
            ),
        )
    if described != list(columns):
        differing = sorted(set(described) ^ set(columns)) or ["their order"]
        return {}, (
            Remark(
                code="sidecar-other-columns",
                text=f"sidecar {path.name} describes other columns and was not used: "
                + ", ".join(map(str, differing)),
            ),
        )
    _check_format(metadata, path)
    renamed = Remark(code="sidecar-renamed", text=f"sidecar was written for {url}")
    return metadata, (renamed,) if url != session.name else ()


def _check_format(metadata: Mapping[str, object], path: Path) -> None:
    version = metadata.get("format")
    if version != FORMAT:
        raise SessionError(
            expected=f"format {FORMAT!r}",
            found=repr(version)[:_MOST_SHOWN],
            where=str(path),
            do="read it with the wattsump version that wrote it or a newer one",
        )
