"""Prove drawn machines of every family under every protocol and keep what came out.

    python tests/validation/run.py SCORES.jsonl [--machines 8] [--seed 303] [--processes 1]
        [--protocol NAME ...] [--family NAME ...]

One line a machine is appended to SCORES.jsonl; those that are there already are not run again.
`tests/validation/page.py SCORES.jsonl` makes docs/validation.md and its figure of them.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import json
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from itertools import product
from pathlib import Path

from families import FAMILIES
from outings import PROTOCOLS
from score import Case, Score, score_case

__all__ = ("cases", "keep", "kept")


def cases(
    protocols: Iterable[str], families: Iterable[str], machines: int, seed: int
) -> list[Case]:
    """Every machine of every cell, cell by cell."""
    return [
        Case(family=family, protocol=protocol, machines=machines, seed=seed, one=one)
        for protocol, family, one in product(protocols, families, range(machines))
    ]


def kept(path: Path) -> list[Score]:
    """Scores of a file of lines; none where there is no file yet."""
    if not path.exists():
        return []
    scores = []
    for line in path.read_text(encoding="utf-8").splitlines():
        raw = json.loads(line)
        found = {name: tuple(values) for name, values in raw["found"].items()}
        scores.append(
            Score(
                case=Case(**raw["case"]),
                found=found,
                words=tuple(raw["words"]),
                form=raw["form"],
                why=raw["why"],
            )
        )
    return scores


def keep(path: Path, scores: Iterable[Score]) -> Iterator[Score]:
    """Append each score as a line as soon as it is there."""
    with path.open("a", encoding="utf-8") as file:
        for score in scores:
            file.write(json.dumps(asdict(score)) + "\n")
            file.flush()
            yield score


def main(words: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("scores", type=Path)
    parser.add_argument("--machines", type=int, default=8)
    parser.add_argument("--seed", type=int, default=303)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--protocol", nargs="+", choices=PROTOCOLS, default=list(PROTOCOLS))
    parser.add_argument("--family", nargs="+", choices=FAMILIES, default=list(FAMILIES))
    asked = parser.parse_args(words)
    done = {score.case for score in kept(asked.scores)}
    wanted = cases(asked.protocol, asked.family, asked.machines, asked.seed)
    missing = [case for case in wanted if case not in done]
    with ProcessPoolExecutor(asked.processes) as pool:
        found = pool.map(score_case, missing, chunksize=asked.machines)
        for number, score in enumerate(keep(asked.scores, found), 1):
            print(
                f"{number}/{len(missing)} {score.case.protocol}; {score.case.family}: "
                + (", ".join(_shown(name, *v) for name, v in score.found.items()) or score.why),
                flush=True,
            )


def _shown(name: str, truth: float, value: float, low: float, high: float) -> str:
    held = "held" if low <= truth <= high else "MISSED"
    off, least, most = (end / truth - 1 for end in (value, low, high))
    return f"{name} {off:+.0%} ({least:+.0%} to {most:+.0%}) {held}"


if __name__ == "__main__":
    main()
