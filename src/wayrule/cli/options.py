"""Options that several verbs share, spelled once."""

from collections.abc import Callable
from typing import Any

import click

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


def wagon_option() -> Decorator:
    """`--wagon FILE`."""
    return click.option("--wagon", "wagon_file", metavar="FILE", required=True, help="Wagon file, NAME.wagon.toml.")


def json_option() -> Decorator:
    """`--json`."""
    return click.option("--json", "as_json", is_flag=True, help="One JSON object on stdout and nothing else.")


def no_open_option() -> Decorator:
    """`--no-open`."""
    return click.option("--no-open", is_flag=True, help="Do not open the report in a browser.")
