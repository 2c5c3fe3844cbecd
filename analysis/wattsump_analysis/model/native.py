"""The kernel's text compiled for this processor, and cached between runs if possible."""

import ctypes
import hashlib
import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from llvmlite import binding

from wattsump_analysis.model import kernel
from wattsump_analysis.model.kernel import Shape

__all__ = ("Functions", "functions")


LIBRARIES = (str(binding.llvm_version_info), np.__version__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Functions:
    """Compiled functions of one shape; `engine` holds their code."""

    engine: Any
    forward: Callable[..., None]
    backward: Callable[..., None]
    draw: Callable[..., None]


@lru_cache(maxsize=64)
def functions(shape: Shape) -> Functions:
    """Compiled functions of `kernel` for networks of this shape."""
    binding.initialize_native_target()
    binding.initialize_native_asmprinter()
    cpu, features = binding.get_host_cpu_name(), binding.get_host_cpu_features().flatten()
    machine = binding.Target.from_default_triple().create_target_machine(
        cpu=cpu, features=features, opt=2, jit=True
    )
    engine = binding.create_mcjit_compiler(binding.parse_assembly(""), machine)
    made = {}
    for write in (kernel.forward, kernel.backward, kernel.draw):
        name = write.__name__
        # Not by the text: writing it takes longer than anything else here.
        key = "\n".join((name, repr(shape), _sources(), cpu, features, *LIBRARIES))
        place = _folder() / f"{hashlib.sha256(key.encode()).hexdigest()}.o"
        code = _kept(place)
        if code is None:
            code = machine.emit_object(binding.parse_assembly(write(shape)))
            _keep(place, code)
        engine.add_object_file(binding.ObjectFileRef.from_data(code))
        pointers = [ctypes.c_void_p] * kernel.ARRAYS[name]
        made[name] = ctypes.CFUNCTYPE(None, *[ctypes.c_int64] * 2, *pointers)
    engine.finalize_object()
    ready = {name: kind(engine.get_function_address(name)) for name, kind in made.items()}
    return Functions(engine=engine, **ready)


@lru_cache(maxsize=1)
def _sources() -> str:
    """Digest of the modules from which texts are written."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _folder() -> Path:
    """The user's cache folder."""
    return Path(os.environ.get("XDG_CACHE_HOME") or Path("~/.cache").expanduser()) / "wattsump"


def _kept(place: Path) -> bytes | None:
    """Cached code if its digest matches; without the check a damaged file would be executed."""
    with suppress(OSError):
        digest, code = place.read_bytes()[:32], place.read_bytes()[32:]
        if hashlib.sha256(code).digest() == digest:
            return code
    return None


def _keep(place: Path, code: bytes) -> None:
    """Write code to the cache; do nothing if it cannot be written."""
    with suppress(OSError):
        place.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=place.parent)
        draft = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(hashlib.sha256(code).digest() + code)
            draft.replace(place)
        finally:
            draft.unlink(missing_ok=True)
