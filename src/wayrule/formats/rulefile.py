"""A person's own rules: a TOML file that changes limits of a rule set, or adds rules."""

import tomllib
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from wayrule.errors import UsageError, WayruleError
from wayrule.model import Rule


@dataclass(frozen=True, slots=True)
class OwnRules:
    """What a rule file says.

    based_on   name of the rule set that it starts from; "" for none
    limits     (rule id, limit) in its rule's unit
    rules      rules of its own
    """

    name: str
    based_on: str
    limits: tuple[tuple[str, float], ...]
    rules: tuple[Rule, ...]


class _RuleKeys(BaseModel):
    model_config = ConfigDict(extra="forbid")

    id: str
    quantity: str
    sense: Literal["at least", "at most"]
    limit: float = Field(ge=0, allow_inf_nan=False)
    unit: Literal["mm", "x gauge", "x longest", "%", "deg", "1"]
    document: str = "own"
    edition: str = ""
    clause: str = ""
    why: str = "the owner asks for it"
    base_mm: float = Field(default=float("nan"), gt=0)
    above_gauges: float = Field(default=float("inf"), gt=0)
    coefficient_mm: float = Field(default=float("nan"), gt=0)
    stock: str = ""


class _FileKeys(BaseModel):
    model_config = ConfigDict(extra="forbid")

    name: str = "own rules"
    based_on: str = ""
    limit: dict[str, float] = {}
    rule: list[_RuleKeys] = []


def read_rules(data: bytes, name: str = "rule file") -> OwnRules:
    """A rule file.

    Raises
    ------
    WayruleError   in one line: the key and what is wrong

    Examples
    --------
    >>> own = read_rules(b'based_on = "usual"\\n[limit]\\n"radius.cars" = 2.5\\n')
    >>> own.based_on, own.limits
    ('usual', (('radius.cars', 2.5),))
    """
    try:
        keys = _FileKeys.model_validate(tomllib.loads(data.decode()))
        rules = tuple(_rule(one) for one in keys.rule)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _refused(str(error), name) from None
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = ".".join(str(part + 1) if isinstance(part, int) else part for part in first["loc"])
        raise _refused(f"{place}: {first['msg'].lower()}", name) from None
    except ValueError as error:
        raise _refused(str(error), name) from None
    return OwnRules(keys.name, keys.based_on, tuple(keys.limit.items()), rules)


def _rule(keys: _RuleKeys) -> Rule:
    if keys.quantity == "straight_edge" and not keys.base_mm > 0:
        raise ValueError(f"rule {keys.id}: expected base_mm, the length of the straight-edge")
    if keys.quantity == "compensated" and not keys.coefficient_mm > 0:
        raise ValueError(f"rule {keys.id}: expected coefficient_mm, the grade of a curve times its radius")
    content: dict[str, Any] = keys.model_dump()
    return Rule(**content, status="own")


def _refused(came: str, name: str) -> WayruleError:
    return WayruleError(
        expected="rules: based_on, a [limit] table, [[rule]] tables",
        came=came,
        where=name,
        next_step='correct it; `[limit]` with `"radius.cars" = 2.5` changes one limit',
    )


def parse_limit(text: str) -> tuple[str, float]:
    """ID=VALUE of the command line.

    >>> parse_limit("radius.cars=2.5")
    ('radius.cars', 2.5)
    """
    ident, _, value = text.partition("=")
    try:
        return ident.strip(), float(value)
    except ValueError:
        raise UsageError(
            expected="ID=VALUE", came=repr(text), where="--limit", next_step="write radius.cars=2.5, in the rule's unit"
        ) from None
