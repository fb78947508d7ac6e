"""Long work, done in a thread while its page shows how far it has come.

Jobs live in this process only, on `app.state`: a restart forgets them, and what they wrote is in the record. The page
needs no script: without one the browser is asked to look again, and htmx, where it runs, asks sooner. Once the work
has ended, what htmx asked for is the whole page, so that nothing is offered that can no longer be done.
"""

import secrets
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from threading import Lock
from typing import Literal

import structlog
from fastapi import APIRouter, FastAPI
from starlette.responses import Response

from server.pages.house import AtHome, House
from server.pages.problems import SENTENCES, ProblemPage
from server.records.clock import now
from server.records.errors import RecordError
from server.records.work import Heard

log = structlog.get_logger("putback.job")
router = APIRouter()
REMEMBERED = 200
WORKERS = 2
ASKS_AGAIN = "job"
Act = Callable[[Heard], str]


class Stopped(Exception):
    """Someone asked the work to stop."""


@dataclass(slots=True)
class Job:
    """One long act: what it is, how far it is, how it ended, and where to go on or back to (address, words)."""

    title: str
    onward: tuple[str, str]
    back: tuple[str, str]
    key: str = field(default_factory=lambda: secrets.token_urlsafe(9))
    state: Literal["running", "done", "stopped", "failed"] = "running"
    stopping: bool = False
    done: int = 0
    total: int = 0
    sentence: str = ""
    who: str = ""
    begun_at: datetime = field(default_factory=now)

    def heard(self, done: int, total: int) -> None:
        """How far it is; what is not yet all done is left by raising, where someone asked to stop."""
        self.done, self.total = done, total
        if self.stopping and done < total:
            raise Stopped


class Jobs:
    """The jobs of one application, the oldest forgotten."""

    def __init__(self) -> None:
        self._workers = ThreadPoolExecutor(WORKERS, thread_name_prefix="job")
        self._known: dict[str, Job] = {}
        self._lock = Lock()

    def start(self, job: Job, act: Act) -> Job:
        """Do the act in a thread of its own; it tells `heard` how far it is, and says at the end what was done."""
        with self._lock:
            for key in list(self._known)[: max(0, len(self._known) - REMEMBERED)]:
                if self._known[key].state != "running":
                    del self._known[key]
            self._known[job.key] = job
        self._workers.submit(_do, job, act)
        return job

    def find(self, key: str) -> Job | None:
        return self._known.get(key)

    def forget(self, key: str) -> None:
        with self._lock:
            self._known.pop(key, None)

    def begun_on(self, address: str, who: str) -> list[Job]:
        """Somebody's own jobs that go on, or are done, from one page, the latest first; of this last day."""
        since = now() - timedelta(days=1)
        with self._lock:
            known = reversed(list(self._known.values()))
        return [
            one
            for one in known
            if (one.back[0], one.who) == (address, who) and one.state in ("running", "done") and one.begun_at > since
        ]


def _do(job: Job, act: Act) -> None:
    try:
        job.sentence = act(job.heard)
        job.state = "done"
    except Stopped:
        job.sentence, job.state = "It was stopped before it was done.", "stopped"
    except RecordError as refused:
        job.sentence, job.state = str(refused), "failed"
    except Exception:
        log.exception("job failed", title=job.title)
        job.sentence, job.state = SENTENCES[500][1], "failed"


_making = Lock()


def jobs_of(app: FastAPI) -> Jobs:
    """The application's jobs, made when the first is asked for."""
    with _making:
        if not hasattr(app.state, "jobs"):
            app.state.jobs = Jobs()
    jobs: Jobs = app.state.jobs
    return jobs


@dataclass(frozen=True, slots=True)
class JobPage:
    """How far one job is, or how it ended."""

    job: Job
    address: str


def job_from(house: House, title: str, page: str, outcome: str, back: str) -> Job:
    """A job that somebody asks for on a page, below whose address its outcome lies under the job's key."""
    job = Job(title, onward=("", outcome), back=(page, back), who=house.who)
    job.onward = (f"{page}/{job.key}", outcome)
    return job


@dataclass(frozen=True, slots=True)
class Lately:
    """One line of what was asked for on a page before: how it stands, and where it is seen or fetched."""

    begun_at: datetime
    sentence: str
    address: str
    words: str


def lately(house: House, address: str) -> list[Lately]:
    """What somebody asked for on a page in the last day, so that it is found again after its own page was left."""
    return [
        Lately(one.begun_at, one.sentence, *one.onward)
        if one.state == "done"
        else Lately(one.begun_at, f"{one.title} goes on.", job_address(one), "See how far it is")
        for one in jobs_of(house.request.app).begun_on(address, house.who)
    ]


def job_address(job: Job) -> str:
    return f"/jobs/{job.key}"


@router.get("/jobs/{key}")
def job_page(house: AtHome, key: str) -> Response:
    job = jobs_of(house.request.app).find(key)
    if job is None:
        sentence = "Work in progress is known only until the server stops. What it wrote is in the journal."
        return house.page("problem.html", ProblemPage("No such work is known", sentence, FORGOTTEN_WAYS), 404)
    response = house.page("jobs/job.html", JobPage(job, job_address(job)))
    response.headers["Cache-Control"] = "no-store"
    if job.state != "running" and house.request.headers.get("HX-Trigger") == ASKS_AGAIN:
        response.headers["HX-Refresh"] = "true"
    return response


@router.post("/jobs/{key}/stop")
def stop_job(house: AtHome, key: str) -> Response:
    """Asked to stop, it does so at the next step; what was all but done is finished."""
    job = jobs_of(house.request.app).find(key)
    if job is None:
        return job_page(house, key)
    job.stopping = True
    return house.go(job_address(job))


FORGOTTEN_WAYS = [("/journal", "See what was last written"), ("/", "Back to the shelf")]
