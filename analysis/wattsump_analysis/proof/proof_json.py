"""Writes and reads a proof as JSON, schema "wattsump-proof-2".

Keys are the attributes of `results.Proof`, with units in their names, always in SI.
docs/proof-json.md describes it.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from pathlib import Path
from types import UnionType
from typing import Any, get_args, get_origin, get_type_hints

import numpy as np

from wattsump_analysis.results import Proof
from wattsump_logger.errors import UsageError, reason_of

__all__ = ("SCHEMA", "proof_data", "proof_from_data", "proof_from_file", "proof_text")

SCHEMA = "wattsump-proof-2"


def proof_data(proof: Proof) -> dict[str, object]:
    """Return the proof as plain data; NaN and infinity become None."""
    data = _plain(proof)
    assert isinstance(data, dict), "a dataclass becomes a dictionary"
    return {"schema": SCHEMA, **data}


def proof_text(proof: Proof) -> str:
    """Return the proof as JSON text, one document ending in a line end."""
    return json.dumps(proof_data(proof), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return {part.name: _plain(getattr(value, part.name)) for part in fields(value) if part.init}
    if isinstance(value, np.ndarray):
        return [_plain(item) for item in value.tolist()]
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def proof_from_file(path: Path) -> Proof:
    """Read a proof's JSON back.

    Raises
    ------
    UsageError
        The file is missing, is not JSON, has another schema, or a part of another form.
    """
    where = str(path)
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise _no_proof(where, reason_of(error)) from error
    except ValueError as error:
        raise _no_proof(where, "no JSON") from error
    return proof_from_data(data, path.name)


def proof_from_data(data: object, where: str = "proof") -> Proof:
    """Make a proof of the data that `proof_data` returns; null for a number becomes NaN.

    Raises
    ------
    UsageError
        Another schema, or a part of another form.
    """
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        schema = data.get("schema") if isinstance(data, dict) else type(data).__name__
        raise _no_proof(where, f"schema {schema!r}")
    try:
        proof = _typed(data, Proof)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise _no_proof(where, f"an unreadable part ({error})") from error
    assert isinstance(proof, Proof), "a dataclass is made by its own name"
    return proof


def _typed(raw: Any, hint: Any) -> object:
    """A value of an annotated type from plain data."""
    origin, parts = get_origin(hint), get_args(hint)
    if origin is UnionType:
        return None if raw is None else _typed(raw, parts[0])
    if isinstance(hint, type) and is_dataclass(hint):
        types = get_type_hints(hint)
        names = [part.name for part in fields(hint) if part.init]
        return hint(**{name: _typed(raw[name], types[name]) for name in names})
    if origin is np.ndarray:
        return np.array([_typed(item, float) for item in raw])
    if origin is tuple:
        hints = parts[:1] * len(raw) if parts[-1] is Ellipsis else parts
        return tuple(_typed(item, of) for item, of in zip(raw, hints, strict=True))
    if origin is not None:
        return {key: _typed(item, parts[1]) for key, item in raw.items()}
    return math.nan if raw is None and hint is float else hint(raw)


def _no_proof(where: str, found: str) -> UsageError:
    return UsageError(
        expected=f"a proof, JSON of schema {SCHEMA!r}",
        found=found,
        where=where,
        do="write one with: wattsump prove SESSION --json > proof.json",
    )
