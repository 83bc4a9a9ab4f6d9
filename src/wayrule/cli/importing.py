"""`wayrule import`."""

import click

from wayrule.cli.options import json_option, wagon_option


@click.command("import", short_help="How a log is understood, and what is wrong with it.")
@click.argument("run", metavar="FILE")
@wagon_option()
@click.option("--out", metavar="FILE", help="Write the repaired recording here, in the general form.")
@json_option()
def import_(run: str, wagon_file: str, out: str | None, as_json: bool) -> None:
    """Read a log; show what each column was taken for, what was found and repaired, and the first rows.

    A foreign log needs a [columns] table in the wagon file, see docs/howto.md. The log itself is never changed.

    \b
    wayrule import monday.csv --wagon van.wagon.toml
    wayrule import logger7.txt --wagon van.wagon.toml --out monday.csv
    wayrule import monday.waylog@wagon=van7 --wagon van.wagon.toml --out monday.csv
    """
    from wayrule.cli.machine import emit
    from wayrule.cli.progress import Steps
    from wayrule.cli.show import say, say_problems, show
    from wayrule.desk.importing import import_recording
    from wayrule.report.numbers import duration, significant

    result = import_recording(run, wagon_file, out=out, step=Steps())
    seen, read = result.understood, result.recording
    if as_json:
        emit(
            {
                "run": read.name,
                "samples": read.n,
                "duration_s": read.t_s[-1] - read.t_s[0],
                "rate_hz": read.rate_hz,
                "separator": seen.separator,
                "decimal_comma": seen.decimal_comma,
                "columns": seen.columns,
                "marks": read.marks,
                "problems": read.problems,
                "sha256": read.sha256,
                "out": out,
            }
        )
        return
    form = f"columns parted by {seen.separator}, decimal {'comma' if seen.decimal_comma else 'point'}"
    form = "a raw log of frames" if seen.separator == "frames" else form
    say(
        f"{run}: {read.n} samples in {duration(float(read.t_s[-1] - read.t_s[0]))}, "
        f"{significant(read.rate_hz)} a second; {form}."
    )
    show([result.column_table()])
    say_problems(read.problems)
    show([result.row_table()])
    say(f"Written: {out}." if out else "Nothing was written; --out FILE writes the recording in the general form.")
