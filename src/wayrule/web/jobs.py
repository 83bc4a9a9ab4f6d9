"""Long work beside the requests: started by a page, told step by step, cancelled at the next step, there on reload."""

import secrets
import threading
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from time import monotonic
from typing import Any, Final, Literal

from wayrule.desk.steps import Step
from wayrule.errors import UsageError, WayruleError

State = Literal["running", "done", "failed", "cancelled"]

MOST_RUNNING: Final = 2
MOST_KEPT: Final = 50

DEFECT: Final = "Something went wrong inside Wayrule. The terminal in which it runs has the details."


class CancelledError(Exception):
    """A person wants the work to end."""


@dataclass(slots=True)
class Job:
    """One piece of work.

    told   (step, seconds it took), the last one without seconds while it runs
    to     the page that shows the result; "" until there is one
    """

    ident: str
    title: str
    began_s: float
    state: State = "running"
    told: list[tuple[str, float | None]] = field(default_factory=list)
    error: str = ""
    to: str = ""
    asked_to_end: bool = False
    version: int = 0

    def content(self) -> dict[str, Any]:
        """What a page shows of it."""
        return {
            "state": self.state,
            "told": [[text, None if s is None else f"{s:.1f} s"] for text, s in self.told],
            "error": self.error,
            "to": self.to,
            "ending": self.asked_to_end and self.state == "running",
        }


class Jobs:
    """All work of this program, newest last; `hidden`, where the project lies on the disk, is not shown on pages."""

    def __init__(self, hidden: str = "") -> None:
        self._hidden = hidden
        self._jobs: dict[str, Job] = {}
        self._changed = threading.Condition()

    def start(self, title: str, work: Callable[[Step], str]) -> Job:
        """Begin a piece of work; it is given a step and answers with the page that shows its result.

        Raises
        ------
        UsageError   while as many run as this machine should do at once
        """
        with self._changed:
            running = [job for job in self._jobs.values() if job.state == "running"]
            if len(running) >= MOST_RUNNING:
                raise UsageError(
                    expected=f"at most {MOST_RUNNING} pieces of work at a time",
                    came="one more",
                    where=title,
                    next_step="wait until one is done, or cancel it",
                )
            while len(self._jobs) >= MOST_KEPT:
                del self._jobs[next(i for i, job in self._jobs.items() if job.state != "running")]
            job = Job(secrets.token_hex(8), title, monotonic())
            self._jobs[job.ident] = job
        threading.Thread(target=self._do, args=(job, work), daemon=True, name=f"job {job.ident}").start()
        return job

    def find(self, ident: str) -> Job | None:
        """The job of this name."""
        with self._changed:
            return self._jobs.get(ident)

    def running(self) -> list[Job]:
        """What goes on now."""
        with self._changed:
            return [job for job in self._jobs.values() if job.state == "running"]

    def cancel(self, job: Job) -> None:
        """End it before its next step; what it has written whole stays, nothing stands half written."""
        with self._changed:
            job.asked_to_end = True
            self._news(job)

    def wait(self, job: Job, seen: int, at_most_s: float) -> tuple[int, dict[str, Any]]:
        """What a job has to say, as soon as that is news to one who has seen `seen`, or after a while."""
        with self._changed:
            self._changed.wait_for(lambda: job.version != seen, at_most_s)
            return job.version, job.content()

    def _news(self, job: Job) -> None:
        job.version += 1
        self._changed.notify_all()

    def _do(self, job: Job, work: Callable[[Step], str]) -> None:
        state, error, to = "done", "", ""
        try:
            to = work(self._step(job))
        except CancelledError:
            state = "cancelled"
        except WayruleError as known:
            state, error = "failed", str(known).replace(self._hidden, "") if self._hidden else str(known)
        except Exception:  # a defect: its trace belongs to the terminal, not to the page
            traceback.print_exc()
            state, error = "failed", DEFECT
        with self._changed:
            job.state, job.error, job.to = state, error, to  # type: ignore[assignment]
            self._news(job)

    def _step(self, job: Job) -> Step:
        @contextmanager
        def step(text: str) -> Iterator[None]:
            with self._changed:
                if job.asked_to_end:
                    raise CancelledError
                job.told.append((text.replace(self._hidden, "") if self._hidden else text, None))
                self._news(job)
            place, began = len(job.told) - 1, monotonic()
            yield
            with self._changed:
                job.told[place] = (job.told[place][0], monotonic() - began)
                self._news(job)

        return step
