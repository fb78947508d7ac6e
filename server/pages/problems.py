"""Errors as pages: what happened in plain words, and a way on."""

from dataclasses import dataclass
from urllib.parse import quote, urlencode

import structlog
from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, Response

from server.access.door import NotAllowed, NotInScope, NotSignedIn
from server.access.guards import TooLarge
from server.access.share_links import without_token
from server.pages.house import house_of
from server.pages.outside import CLOSED, OutsidePage, closed, is_outside
from server.records.errors import BoardLeft, Damaged, Invalid, KnownByName, NotFound, RecordError

log = structlog.get_logger("putback.problem")


@dataclass(frozen=True, slots=True)
class ProblemPage:
    """A page that says what went wrong; `ways` are places to go on to: (address, words)."""

    heading: str
    sentence: str
    ways: list[tuple[str, str]]


SENTENCES = {
    400: ("That cannot be read", "The request does not have the form this page expects. Nothing was changed."),
    403: ("That is not yours to change", ""),
    404: ("Nothing is kept at this address", "The address may be mistyped, or the record was given another tag."),
    405: ("That cannot be done here", "This address can be read but not written to, or the other way round."),
    413: ("That is too large", "The file is larger than this server takes. Nothing was stored."),
    409: ("That cannot be stored", ""),
    422: ("That cannot be stored", ""),
    500: ("Something went wrong here", "The fault is the program's, not yours. Nothing was half-written."),
}


def install(app: FastAPI) -> None:
    app.add_exception_handler(NotSignedIn, not_signed_in)
    app.add_exception_handler(NotAllowed, not_allowed)
    app.add_exception_handler(NotInScope, not_allowed)
    app.add_exception_handler(NotFound, not_found)
    app.add_exception_handler(RecordError, refused)
    app.add_exception_handler(HTTPException, answered)
    app.add_exception_handler(RequestValidationError, unreadable)
    app.add_exception_handler(Exception, unexpected)


def not_signed_in(request: Request, problem: Exception) -> Response:
    """To the page that asks who it is, and from there back to what was asked for, if that was only looked at."""
    if request.url.path.startswith("/api/"):
        return JSONResponse({"detail": str(problem)}, 401, {"WWW-Authenticate": "Bearer"})
    asked = f"{request.url.path}?{request.url.query}" if request.url.query else request.url.path
    back = f"?{urlencode({'to': asked})}" if request.method in ("GET", "HEAD") and asked != "/" else ""
    return house_of(request).go(f"/sign-in{back}")


def not_allowed(request: Request, problem: Exception) -> Response:
    return _problem(request, 403, str(problem), [("/", "Back to the shelf")])


def not_found(request: Request, problem: Exception) -> Response:
    ways = [("/", "Back to the shelf")]
    if isinstance(problem, BoardLeft):
        ways.insert(0, (f"/machines/{quote(problem.tag)}/boards/{quote(problem.slug)}", f"See it in {problem.tag}"))
    elif isinstance(problem, NotFound) and problem.kind == "machine":
        dossier = ("/dossiers/import", "Take in its dossier")
        ways.append(dossier if isinstance(problem, KnownByName) else ("/machines/new", "Enter a machine"))
    elif (parts := request.url.path.split("/"))[1:2] == ["machines"] and len(parts) > 3:
        ways.insert(0, (f"/machines/{quote(parts[2])}", f"Back to {parts[2]}"))
    sentence = str(problem) if isinstance(problem, KnownByName) else f"{problem} {SENTENCES[404][1]}"
    return _problem(request, 404, sentence, ways)


def refused(request: Request, problem: Exception) -> Response:
    status = 422 if isinstance(problem, Invalid) else 409
    if isinstance(problem, Damaged):
        log.error("damaged", path=without_token(request.url.path), fault=str(problem))
        status = 500
    return _problem(request, status, str(problem), [("/", "Back to the shelf")])


def answered(request: Request, problem: Exception) -> Response:
    status = problem.status_code if isinstance(problem, HTTPException) else 500
    sentence = str(problem.detail) if isinstance(problem, TooLarge) else ""
    return _problem(request, status, sentence, [("/", "Back to the shelf")])


def unreadable(request: Request, _: Exception) -> Response:
    """An address whose number is none, such as `/mods/x`, names nothing that is kept."""
    return _problem(request, 404, "", [("/", "Back to the shelf")])


def unexpected(request: Request, problem: Exception) -> Response:
    log.error("unexpected", path=without_token(request.url.path), exc_info=problem)
    return _problem(request, 500, "", [("/", "Back to the shelf"), ("/journal", "See what was last written")])


def _problem(request: Request, status: int, sentence: str, ways: list[tuple[str, str]]) -> Response:
    heading, usual = SENTENCES.get(status, SENTENCES[400])
    if request.url.path.startswith("/api/"):
        return JSONResponse({"detail": sentence or usual}, status)
    if is_outside(request.url.path):
        return closed(CLOSED if status == 404 else OutsidePage(heading, usual or SENTENCES[400][1]), status)
    return house_of(request).page("problem.html", ProblemPage(heading, sentence or usual, ways), status)
