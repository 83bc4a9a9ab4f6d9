"""What pydantic found in a wagon file, in the words of the file: key, value, what is allowed, nearest known key."""

import difflib
from collections.abc import Sequence
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from wayrule.errors import WagonFileError
from wayrule.formats.wagonkeys import WagonKeys

MAX_NAMED = 12
"""So many findings are spelt out; a file with more is not a wagon file with slips."""


def one_line(error: ValidationError, where: str) -> WagonFileError:
    """All findings as one error line, in the order of the file's keys."""
    findings = list(dict.fromkeys(_finding(e["type"], e["loc"], e["input"]) for e in error.errors(include_url=False)))
    more = f"; and {len(findings) - MAX_NAMED} more" if len(findings) > MAX_NAMED else ""
    return WagonFileError(
        expected="the keys and values of a wagon file",
        came="; ".join(findings[:MAX_NAMED]) + more,
        where=where,
        next_step="correct it" if len(findings) == 1 else f"correct these {len(findings)}",
    )


def _finding(kind: str, loc: Sequence[str | int], value: Any) -> str:
    path, model, field = _walk(loc)
    if kind == "extra_forbidden" and model is not None:
        known = list(model.model_fields)
        near = difflib.get_close_matches(str(loc[-1]).lower(), known, n=1, cutoff=0.55)
        return f"{path} is no key" + (f" (did you mean {near[0]}?)" if near else f" (known here: {', '.join(known)})")
    allowed = _allowed(field)
    if kind == "missing":
        return f"{path} is missing (allowed: {allowed})"
    return f"{path} = {_shown(value)} (allowed: {allowed})"


def _walk(loc: Sequence[str | int]) -> tuple[str, type[BaseModel] | None, FieldInfo | None]:
    """The key's path as written in the file, the table it stands in, and its field."""
    model: type[BaseModel] | None = WagonKeys
    field: FieldInfo | None = None
    path = ""
    for k, part in enumerate(loc):
        if isinstance(part, int):
            path += f"[{part + 1}]"
        elif model is None:
            if field is not None and field.annotation is not None and "dict" in str(field.annotation):
                path += f".{part}" if k == 1 else ""
            continue  # what follows names a branch of the type, not a key
        else:
            path += f".{part}" if path else part
            field = model.model_fields.get(part)
            table = model
            model = _table_of(field)
            if model is None and k == len(loc) - 1:
                return path, table, field
    return path, model, field


def _table_of(field: FieldInfo | None) -> type[BaseModel] | None:
    todo = [field.annotation] if field is not None else []
    while todo:
        kind = todo.pop()
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
        todo += get_args(kind)
    return None


def _allowed(field: FieldInfo | None) -> str:
    if field is None:
        return "the keys of a wagon file"
    if field.description:
        return field.description
    todo = [field.annotation]
    while todo:
        kind = todo.pop()
        for meta in getattr(kind, "__metadata__", ()):
            if isinstance(meta, FieldInfo) and meta.description:
                return meta.description
        todo += get_args(kind)
    return "a table in square brackets"


def _shown(value: Any) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."
