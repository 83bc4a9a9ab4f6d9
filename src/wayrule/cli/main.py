"""The command `wayrule`: finds the verb, runs it, and turns a known error into one line and exit code 2."""

import contextlib
import importlib
import sys
from collections.abc import Sequence

import click

from wayrule.cli.usage import nearest, usage_line
from wayrule.errors import UsageError, WayruleError
from wayrule.version import VERSION

VERBS = {
    "demo": "wayrule.cli.demo:demo",
    "bench": "wayrule.cli.bench:bench",
    "import": "wayrule.cli.importing:import_",
    "calibrate": "wayrule.cli.calibrate:calibrate",
    "record": "wayrule.cli.record:record",
    "travel": "wayrule.cli.travel:travel",
    "survey": "wayrule.cli.survey:survey",
    "guide": "wayrule.cli.guide:guide",
    "judge": "wayrule.cli.judge:judge",
    "mend": "wayrule.cli.mend:mend",
    "compare": "wayrule.cli.compare:compare",
    "report": "wayrule.cli.report:report",
    "serve": "wayrule.cli.serve:serve",
}
"""Verb -> module and attribute; a verb's module (and all it needs) is imported only when the verb is used."""


class Verbs(click.Group):
    """A group that imports a verb when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002  click's signature
        """Names in the order of the work."""
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command:  # noqa: ARG002
        """The verb's command; a word that is no verb is answered with the verbs there are."""
        if cmd_name not in VERBS:
            raise UsageError(
                expected=f"one of {', '.join(VERBS)}",
                came=repr(cmd_name),
                where="wayrule",
                next_step=nearest(cmd_name, VERBS) + "`wayrule --help` shows what each does",
            )
        module, attribute = VERBS[cmd_name].split(":")
        command = getattr(importlib.import_module(module), attribute)
        assert isinstance(command, click.Command)
        return command


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(VERSION, message="wayrule %(version)s")
def wayrule() -> None:
    """From a wagon's recording to the surveyed map of the track, with honest error bars.

    \b
    A first look:     wayrule demo
    Before building:  wayrule bench van.wagon.toml
    Your own log:     wayrule import run.csv --wagon van.wagon.toml
                      wayrule travel run.csv --wagon van.wagon.toml
                      wayrule survey run.csv --wagon van.wagon.toml --out survey
    """


def run(words: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code.

    0 done · 2 a known error, told in one line on stderr · 130 stopped by Ctrl-C.  Anything else is a defect and
    leaves with its trace.
    """
    try:
        wayrule.main(args=None if words is None else list(words), prog_name="wayrule", standalone_mode=False)
    except WayruleError as error:
        click.echo(str(error), err=True)
        return 2
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message(), err=True)
        return 2
    except click.ClickException as error:
        click.echo(usage_line(error), err=True)
        return 2
    except (click.Abort, KeyboardInterrupt):
        click.echo("wayrule: stopped", err=True)
        return 130
    except OSError as error:
        if error.filename is None:
            raise
        click.echo(
            f"{error.filename}: expected to be able to use it, came {error.strerror}; "
            "look at its permissions and at the space left on the disk",
            err=True,
        )
        return 2
    return 0


def main() -> None:
    """Entry point of the installed command."""
    for stream in (sys.stdout, sys.stderr):  # an old console may lack a sign that we print; a "?" beats a trace
        with contextlib.suppress(AttributeError):
            stream.reconfigure(errors="replace")  # type: ignore[union-attr]
    sys.exit(run())
