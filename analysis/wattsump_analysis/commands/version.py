"""Which program this is: its release, its commit where that is known, and what it runs on."""

import json
import platform
import shutil
import subprocess
from importlib import metadata
from pathlib import Path

__all__ = ("commit", "libraries", "release", "version_text")

_DISTRIBUTION = "wattsump"
_GIT_S = 5.0  # a checkout on a slow share must not hold up an answer


def version_text() -> str:
    """Return the lines of `--version`: release and commit, Python, system, libraries."""
    commit_id = commit()
    name = f"{_DISTRIBUTION} {metadata.version(_DISTRIBUTION)}"
    python = f"{platform.python_implementation()} {platform.python_version()}"
    return "\n".join(
        (
            f"{name} (commit {commit_id})" if commit_id else name,
            f"on {python}, {platform.system()} {platform.release()} {platform.machine()}",
            "with " + ", ".join(f"{name} {release}" for name, release in libraries().items()),
        )
    )


def release() -> dict[str, str]:
    """Return the row of a page that names the program."""
    return {"made with": version_text().replace("\n", " ")}


def libraries() -> dict[str, str]:
    """Return the releases of what the program needs at run time, by name."""
    needed = [
        line.split(";")[0]
        for line in metadata.requires(_DISTRIBUTION) or ()
        if "extra ==" not in line
    ]
    names = sorted(map(_name, needed))
    return {name: metadata.version(name) for name in names}


def _name(requirement: str) -> str:
    """Return the name a requirement begins with."""
    end = next((i for i, char in enumerate(requirement) if char in " <>=!~[("), len(requirement))
    return requirement[:end]


def commit(root: Path | None = None) -> str | None:
    """Return the commit: of the checkout this runs in, else of the one it was installed from.

    "+" behind it says that files were changed since. None where nothing tells.
    """
    checkout = Path(__file__).parents[3] if root is None else root
    if (checkout / ".git").exists():
        return _of_checkout(checkout)
    return _of_installation()


def _of_checkout(root: Path) -> str | None:
    git = shutil.which("git")
    if git is None:
        return None
    words = ["describe", "--always", "--abbrev=12", "--exclude=*", "--dirty=+"]
    try:
        result = subprocess.run(
            [git, "-C", str(root), *words],
            capture_output=True,
            text=True,
            timeout=_GIT_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return None
    return result.stdout.strip() or None


def _of_installation() -> str | None:
    """Return the source that the installer recorded for the program.

    References
    ----------
    .. [1] PyPA specification "Recording the Direct URL Origin of installed distributions"
       (PEP 610): `direct_url.json`, its key `vcs_info.commit_id`.
    """
    text = metadata.distribution(_DISTRIBUTION).read_text("direct_url.json")
    origin = json.loads(text) if text else {}
    return (str(origin.get("vcs_info", {}).get("commit_id", "")))[:12] or None
