"""What every page handler works with: the record, who is asking, and the answers it can give.

Nobody else reads htmx's headers. A page answers htmx with its `content` block and everyone else with the whole
page; what was written answers with a redirect; what will not do answers 422 or 409 with the form as it was typed.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import Depends, Request
from jinja2_fragments import render_block
from sqlmodel import Session
from starlette.responses import HTMLResponse, RedirectResponse, Response

from server.access.identity import keeper, signed_in_as
from server.pages import addresses  # noqa: F401  (how numbers in addresses are read)
from server.pages.forms import Asked, Form, number_of
from server.pages.only_offered import only_what_may_be_done
from server.pages.templating import environment
from server.records.errors import Invalid, NotFound, Stale
from server.records.questions.hazards import cautions_for
from server.records.questions.journal import words_of
from server.records.store import Done, Store
from server.records.tables import Machine, Mod
from server.settings import Settings


@dataclass(frozen=True, slots=True)
class House:
    """One request's way to the record and back to its reader."""

    request: Request
    store: Store
    settings: Settings
    who: str

    @contextmanager
    def reading(self) -> Iterator[Session]:
        with self.store.reading() as session:
            yield session

    def page(self, template: str, context: Any, status: int = 200) -> Response:
        """Answer with the page, or its `content` block alone, from a context that is a dataclass."""
        values = {field.name: getattr(context, field.name) for field in fields(context)}
        values["standing_cautions"] = self._standing_cautions(values)
        env = environment()
        if self._wants_block():
            html = render_block(env, template, "content", request=self.request, **values)
        else:
            outside = {"request": self.request, "notice": self._notice(), "signed_in": signed_in_as(self.request)}
            html = env.get_template(template).render(**outside, **values)
        html = only_what_may_be_done(html, self.request)
        return HTMLResponse(html, status, headers={"Vary": "HX-Request"})

    def write(
        self,
        form: Form,
        kind: type[Asked],
        to: Callable[[Done], str],
        again: Callable[[Form, int], Response],
        **fixed: object,
    ) -> Response:
        """Carry out the command that the form asks for, and go on to `to`; or show the form `again`."""
        try:
            done = self.store.carry_out(form.read(kind, **fixed), self.who)
        except Stale as stale:
            form.conflict = stale.rows
            form.set("opened_version", str(stale.current_version))
            return again(form, 409)
        except Invalid as problem:
            form.refuse(problem)
            return again(form, 422)
        except NotFound as missing:  # the page's own address was found before: something typed names nothing
            form.refuse(Invalid({"": str(missing)}))
            return again(form, 422)
        return self.go(to(done), done)

    def go(self, address: str, done: Done | None = None) -> Response:
        """On to another page, which says what was just written."""
        if done and done.seq:
            path, mark, place = address.partition("#")
            address = f"{path}{'&' if '?' in path else '?'}{urlencode({'written': done.seq})}{mark}{place}"
        if "hx-request" in self.request.headers:
            return Response(status_code=204, headers={"HX-Redirect": address, "Vary": "HX-Request"})
        return RedirectResponse(address, 303)

    def _standing_cautions(self, values: dict[str, Any]) -> list[str]:
        """What the page of a machine says of its hazards where it does not say it itself (rule 9)."""
        machine, mod = values.get("machine"), values.get("mod")
        if "cautions" in values or not isinstance(machine, Machine):
            return []
        with self.reading() as session:
            return cautions_for(session, machine, mod if isinstance(mod, Mod) else None)

    def _wants_block(self) -> bool:
        headers = self.request.headers
        return (
            headers.get("hx-request") == "true"
            and headers.get("hx-boosted") != "true"
            and headers.get("hx-history-restore-request") != "true"
        )

    def _notice(self) -> str | None:
        written = number_of(self.request.query_params.get("written", ""))
        if written is None:
            return None
        with self.reading() as session:
            return words_of(session, written)


async def at_home(request: Request) -> House:
    """A coroutine only so that it runs where it is asked for: a plain function would cost a thread of its own."""
    return house_of(request)


def house_of(request: Request) -> House:
    """The house as one request finds it."""
    state = request.app.state
    return House(request, state.store, state.settings, keeper(request))


AtHome = Annotated[House, Depends(at_home)]


async def page_number(request: Request) -> int:
    """Which page of a list is asked for; anything unreadable is the first."""
    return max(1, number_of(request.query_params.get("page", "")) or 1)


PageNumber = Annotated[int, Depends(page_number)]
