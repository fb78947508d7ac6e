"""The application on a free loopback port, in a thread of this process."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn

from server.app import create_app
from server.settings import Settings

START_MOST_S = 20.0


@contextmanager
def serving(settings: Settings) -> Iterator[str]:
    """Serve one record while the block runs; gives the address."""
    config = uvicorn.Config(create_app(settings), host="127.0.0.1", port=0, log_level="error", access_log=False)
    server = uvicorn.Server(config)
    socket = config.bind_socket()
    thread = threading.Thread(target=server.run, kwargs={"sockets": [socket]}, daemon=True)
    thread.start()
    waited = time.monotonic() + START_MOST_S
    while not server.started:
        if time.monotonic() > waited:
            raise TimeoutError("the server did not start")
        time.sleep(0.02)
    yield f"http://127.0.0.1:{socket.getsockname()[1]}"
    server.should_exit = True
    thread.join(START_MOST_S)
    socket.close()
