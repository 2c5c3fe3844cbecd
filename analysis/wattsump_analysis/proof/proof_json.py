"""The proof as JSON, schema "wattsump-proof-2": for other programs, and for later.

Keys are the attributes of `results.Proof`, with their units in their names, always in
SI whatever the screen shows. docs/proof-json.md describes it.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass

import numpy as np

from wattsump_analysis.results import Proof

__all__ = ("SCHEMA", "proof_data", "proof_text")

SCHEMA = "wattsump-proof-2"


def proof_data(proof: Proof) -> dict[str, object]:
    """Return the proof as plain data; what is not a finite number becomes None."""
    data = _plain(proof)
    assert isinstance(data, dict), "a dataclass becomes a dictionary"
    return {"schema": SCHEMA, **data}


def proof_text(proof: Proof) -> str:
    """Return the proof as JSON text, one document ending in a line end."""
    return json.dumps(proof_data(proof), ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _plain(value: object) -> object:
    if is_dataclass(value) and not isinstance(value, type):
        return {part.name: _plain(getattr(value, part.name)) for part in fields(value)}
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
