"""What tests use of the checkout around them: the example machine, and scripts of no package."""

import importlib.util
from pathlib import Path
from types import ModuleType

from wattsump_logger.machine.profile import load_profile

__all__ = ("BRACKEN", "BRACKEN_FILE", "ROOT", "script")

ROOT = Path(__file__).parents[1]
BRACKEN_FILE = ROOT / "sample-data" / "bracken.toml"
BRACKEN = load_profile(BRACKEN_FILE)


def script(path: Path) -> ModuleType:
    """Return a script as a module."""
    spec = importlib.util.spec_from_file_location(path.stem, path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
