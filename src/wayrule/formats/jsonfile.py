"""JSON as strict readers take it: finite numbers, NaN and infinity as null, keys in the order given."""

import json
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from wayrule.errors import WayruleError


def write_json(content: Mapping[str, Any]) -> bytes:
    """A mapping as indented UTF-8 JSON (RFC 8259 knows neither NaN nor infinity: they become null).

    >>> write_json({"plan_mm": float("nan"), "ratio": np.float64(1.5)}).decode()
    '{\\n  "plan_mm": null,\\n  "ratio": 1.5\\n}\\n'
    """
    return (json.dumps(_plain(content), indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _plain(value: Any) -> Any:
    """Only what JSON knows: dicts, lists, texts, finite numbers, true, false, null."""
    if isinstance(value, Mapping):
        return {str(key): _plain(v) for key, v in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_plain(v) for v in (sorted(value) if isinstance(value, (set, frozenset)) else value)]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if value is None or isinstance(value, (str, bool, int, float)):
        return value
    raise TypeError(f"expected what JSON can hold, came {type(value).__name__}: {value!r}")


def read_json(data: bytes, name: str) -> dict[str, Any]:
    """A JSON object.

    Raises
    ------
    WayruleError   when it is none
    """
    try:
        content = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise WayruleError(
            expected="a JSON file as Wayrule writes it",
            came=str(error).splitlines()[0],
            where=name,
            next_step="give the file that an earlier survey wrote",
        ) from None
    if not isinstance(content, dict):
        raise WayruleError(
            expected="a JSON object",
            came=type(content).__name__,
            where=name,
            next_step="give the file that an earlier survey wrote",
        )
    return content
