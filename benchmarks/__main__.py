"""`python -m benchmarks AREA [--quick] [--json]`: one row for each promised figure; exit code 1 if any falls short."""

import argparse
import contextlib
import dataclasses
import importlib
import json
import os
import pkgutil
import sys
import time
from collections.abc import Iterable

import benchmarks
from benchmarks.row import Row

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # many small solves: threads only wait on each other

PARTS_OF_THE_FRAME = {"row", "accuracy", "__main__"}


def areas() -> list[str]:
    """Names of the areas: each is a module `benchmarks/AREA.py` with `rows(quick: bool) -> Iterable[Row]`.

    Folders hold what an area is made of.
    """
    found = (module.name for module in pkgutil.iter_modules(benchmarks.__path__) if not module.ispkg)
    return sorted(name for name in found if name not in PARTS_OF_THE_FRAME)


def as_object(row: Row) -> dict[str, object]:
    """The row for a machine; `why` only where there is a reason."""
    thing = dataclasses.asdict(row)
    if not row.why:
        del thing["why"]
    return thing


def show(rows: Iterable[Row]) -> list[Row]:
    """Print each row as soon as it is there; returns all of them."""
    shown = []
    began = time.perf_counter()
    for row in rows:
        verdict = "ok   " if row.ok else "SHORT"
        print(f"{verdict}  {row.what}: {row.measured or 'not measured'}  (limit {row.limit})", flush=True)
        if row.why:
            print(f"       {row.why}", flush=True)
        shown.append(row)
    fallen = sum(not row.ok for row in shown)
    print(f"{len(shown)} figures, {fallen} short, {time.perf_counter() - began:.0f} s")
    return shown


def main(words: list[str] | None = None) -> int:
    """Measure one area and print it."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("area", choices=areas(), help="what to measure")
    parser.add_argument("--quick", action="store_true", help="fewer seeds and smaller cases; the same limits")
    parser.add_argument("--json", action="store_true", help="one list of objects on stdout and nothing else")
    chosen = parser.parse_args(words)
    rows = importlib.import_module(f"benchmarks.{chosen.area}").rows(chosen.quick)
    if chosen.json:
        with contextlib.redirect_stdout(sys.stderr):  # whatever a library prints must not end up in the list
            measured = list(rows)
        print(json.dumps([as_object(row) for row in measured], indent=1))
    else:
        measured = show(rows)
    return 0 if measured and all(row.ok for row in measured) else 1


if __name__ == "__main__":
    sys.exit(main())
