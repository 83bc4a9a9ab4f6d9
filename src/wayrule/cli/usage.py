"""Wrong words on the command line, said in one line: what was expected, what came, and what to type next."""

import difflib
from collections.abc import Iterable

import click

KINDS = {"integer": "a whole number", "float": "a number", "integer range": "a whole number", "float range": "a number"}


def nearest(word: str, known: Iterable[str]) -> str:
    """The known word most like `word`, as a question; "" when none is near.

    >>> nearest("surwey", ["survey", "travel"])
    'did you mean survey? '
    >>> nearest("xyz", ["survey", "travel"])
    ''
    """
    near = difflib.get_close_matches(word, list(known), n=1)
    return f"did you mean {near[0]}? " if near else ""


def usage_line(error: click.ClickException) -> str:
    """One line for a click error, in the order of `wayrule.errors`: where, expected, came, next."""
    context = getattr(error, "ctx", None)
    command = context.command_path if context is not None else "wayrule"
    hint = f"`{command} --help` shows an example"
    came = error.format_message().rstrip(".")
    if isinstance(error, click.NoSuchOption):
        known = [name for p in (context.command.params if context else []) for name in p.opts]
        return f"{command}: expected one of its options, came {error.option_name}; " + (
            nearest(error.option_name, known) + hint
        )
    if isinstance(error, click.BadParameter) and error.param is not None:
        option = isinstance(error.param, click.Option)
        name = error.param.opts[0] if option else error.param.human_readable_name
        if isinstance(error, click.MissingParameter):
            return f"{command}: expected {name}, came nothing; {hint}"
        kind = KINDS.get(error.param.type.name, "a value that fits")
        return f"{command} {name}: expected {kind}, came this: {error.message.rstrip('.')}; {hint}"
    return f"{command}: expected words that fit, came this: {came[:1].lower()}{came[1:]}; {hint}"
