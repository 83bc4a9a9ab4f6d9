"""Results for a machine's reader: one JSON object on stdout and nothing else."""

import dataclasses
import enum
import json
import math
from pathlib import Path
from typing import Any

import click


def plain(thing: Any) -> Any:
    """The same in what JSON knows: records become objects, NaN and infinity become null, paths become text.

    >>> plain({"sd": float("nan"), "at": (1, 2.5)})
    {'sd': None, 'at': [1, 2.5]}
    """
    if dataclasses.is_dataclass(thing) and not isinstance(thing, type):
        return {f.name: plain(getattr(thing, f.name)) for f in dataclasses.fields(thing)}
    if isinstance(thing, dict):
        return {str(key): plain(value) for key, value in thing.items()}
    if isinstance(thing, list | tuple | set | frozenset):
        return [plain(value) for value in thing]
    if isinstance(thing, enum.Enum):
        return thing.name.lower()
    if isinstance(thing, Path):
        return str(thing)
    if hasattr(thing, "tolist"):
        return plain(thing.tolist())
    if isinstance(thing, float) and not math.isfinite(thing):
        return None
    return thing


def emit(thing: Any) -> None:
    """Print `thing` as JSON on stdout."""
    click.echo(json.dumps(plain(thing), indent=1, ensure_ascii=False, allow_nan=False))
