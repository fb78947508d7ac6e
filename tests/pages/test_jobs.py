"""Long work: how far it is, and that it can be stopped."""

from threading import Event

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from server.pages.jobs import Job, Stopped, job_address, jobs_of
from server.records.work import Heard
from tests.pages.benchwork import address_of, assert_sound, post, words_of
from tests.pages.test_imports import await_job

WAITS_S = 20


class Steps:
    """Work of three steps that waits to be told to go on after the first."""

    def __init__(self) -> None:
        self.begun, self.go_on = Event(), Event()
        self.taken: list[int] = []

    def __call__(self, heard: Heard) -> str:
        for step in range(3):
            heard(step, 3)
            self.taken.append(step)
            self.begun.set()
            assert self.go_on.wait(WAITS_S)
        heard(3, 3)
        return "All three are done."


@pytest.fixture
def job() -> Job:
    return Job("Taking three steps", onward=("/", "Onward"), back=("/lists", "Back to the lists"))


def test_work_that_was_stopped_says_so_and_leads_back(client: TestClient, app: FastAPI, job: Job) -> None:
    steps = Steps()
    jobs_of(app).start(job, steps)
    assert steps.begun.wait(WAITS_S)

    running = client.get(job_address(job))
    asked = post(client, f"{job_address(job)}/stop")
    stopping = client.get(address_of(asked))
    steps.go_on.set()
    page = await_job(client, address_of(asked))
    polled = client.get(job_address(job), headers={"HX-Request": "true", "HX-Trigger": "job"})

    assert "Stop it" in words_of(running)
    assert "It was stopped before it was done. Nothing was stored. Back to the lists" in words_of(page)
    assert "It stops at its next step." in words_of(stopping)
    assert "Stop it" not in words_of(stopping)
    assert polled.headers["hx-refresh"] == "true"
    assert steps.taken == [0]
    for one in (running, stopping, page):
        assert_sound(one)


def test_work_that_nobody_stops_is_done(client: TestClient, app: FastAPI, job: Job) -> None:
    steps = Steps()
    steps.go_on.set()
    jobs_of(app).start(job, steps)

    page = await_job(client, job_address(job))

    assert "All three are done. Onward" in words_of(page)
    assert "Stop it" not in words_of(page)


def test_what_is_all_but_done_is_finished(job: Job) -> None:
    job.stopping = True

    job.heard(3, 3)
    with pytest.raises(Stopped):
        job.heard(2, 3)


def test_work_that_is_not_known_cannot_be_stopped(client: TestClient) -> None:
    assert post(client, "/jobs/unknown/stop").status_code == 404
