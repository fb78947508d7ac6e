"""Hostile requests at the demo's record, without accounts: `python -m tests.bench fuzz --requests 20000`."""

import argparse
import tempfile
import time
from contextlib import closing
from pathlib import Path

from starlette.testclient import TestClient

from seed_data.demo import fill
from server.app import configure_logs, create_app, open_record
from server.records.work import unheard
from server.settings import Settings
from tests.fuzz.asking import Fuzz, told
from tests.pages.walking import faults_of_record

USUAL, A_ROUND, LOOK_AGAIN = 2_000, 500, 4_000


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--requests", type=int, default=USUAL)
    parser.add_argument("--seed", type=int, default=1)
    given, _ = parser.parse_known_args()
    with tempfile.TemporaryDirectory() as folder:
        configure_logs(Settings(log_level="error"))
        settings = Settings(data=Path(folder), allowed_hosts=["testserver"], log_level="error", database_url="")
        with closing(open_record(settings)) as store:
            fill(store, unheard)
        ask(settings, given.requests, given.seed)


def ask(settings: Settings, requests: int, seed: int) -> None:
    app = create_app(settings)
    with TestClient(app, raise_server_exceptions=False) as client:
        fuzz, started = Fuzz(client, seed), time.perf_counter()
        while fuzz.heard.requests < requests:
            if fuzz.heard.requests % LOOK_AGAIN == 0:
                fuzz.look_round()
                print(f"{len(fuzz.posted)} forms that write, {len(fuzz.uploading)} of them with files", flush=True)
            fuzz.ask(min(A_ROUND, requests - fuzz.heard.requests))
            app.state.door.closed = False  # where an account was opened, its opener would be outside
            print(f"{fuzz.heard.requests:,} in {time.perf_counter() - started:.0f} s", flush=True)
        for line in told(fuzz.heard):
            print(line)
        found = faults_of_record(client)
        print(f"putback check: {found or 'the record is whole'}")
    if fuzz.heard.wrong or found:
        raise SystemExit(1)
