"""Who may ask what, as a table: every route, every role, a machine of one's own and another one."""

from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import pytest
from fastapi.routing import APIRoute

from server.access.permissions import (
    BELOW_A_MACHINE,
    DECISIONS,
    SCOPES,
    WRITING,
    Need,
    allowed,
    in_scope,
    is_for_programs,
    need_of,
)
from server.access.sign_ins import SignedIn
from server.pages import ROUTERS
from server.records.words import Role, Scope


def _asked() -> Iterator[tuple[str, str]]:
    for router in ROUTERS:
        for route in router.routes:
            assert isinstance(route, APIRoute)
            for method in sorted(set(route.methods or ()) - {"HEAD"}):
                yield method, route.path


ASKED = sorted(set(_asked()))
OWN, OTHER = "tm-03", "tm-08"


def person(role: Role, *machines: str) -> SignedIn:
    return SignedIn(1, "ada", "Ada Wren", role, frozenset(machines), 1)


KEEPER = person(Role.KEEPER)
OF_ONE = person(Role.KEEPER_OF_MACHINES, OWN)
MEMBER = person(Role.MEMBER)
# Who may do what takes each: nobody in particular, a member, a keeper of one machine on it and beside it, a keeper.
TABLE: dict[Need, list[bool]] = {
    Need.NOTHING: [True, True, True, True, True],
    Need.SIGNED_IN: [False, True, True, True, True],
    Need.KEEPS_THE_MACHINE: [False, False, True, False, True],
    Need.KEEPS_ALL: [False, False, False, False, True],
}
ASKERS: list[tuple[SignedIn | None, str]] = [
    (None, OWN),
    (MEMBER, OWN),
    (OF_ONE, OWN),
    (OF_ONE, OTHER),
    (KEEPER, OTHER),
]


@pytest.mark.parametrize(("method", "path"), ASKED, ids=[f"{method} {path}" for method, path in ASKED])
def test_every_route_has_its_decision(method: str, path: str) -> None:
    """And each asker is let in or not as the table says."""
    need = need_of(method, path)

    assert need is not None, "nobody decided who may ask this: server/access/permissions.py"
    assert [allowed(need, who, machine) for who, machine in ASKERS] == TABLE[need]


def test_every_decision_is_about_a_route() -> None:
    """None is left over from a page that is gone, and a write is decided where there is one."""
    writes = {path for method, path in ASKED if method in WRITING}
    paths = {path for _, path in ASKED}

    assert set(DECISIONS) <= paths
    assert {path for path, (_, write) in DECISIONS.items() if write is not None} == writes & set(DECISIONS)


def test_a_route_without_a_decision_is_nobody_s() -> None:
    assert need_of("GET", "/attic") is None
    assert not any(allowed(None, who, machine) for who, machine in ASKERS)


@pytest.mark.parametrize("path", [*BELOW_A_MACHINE, "/machines/{tag}/mods/{n:int}", "/parts/{number}/edit"])
def test_below_a_machine_it_takes_its_keeper_to_write(path: str) -> None:
    assert need_of("GET", path) is Need.SIGNED_IN
    assert need_of("HEAD", path) is Need.SIGNED_IN
    assert [need_of(method, path) for method in sorted(WRITING)] == [Need.KEEPS_THE_MACHINE] * len(WRITING)


def test_what_only_begins_like_a_machine_is_none() -> None:
    assert need_of("GET", "/machines/{tag}s") is None


@pytest.mark.parametrize(("who", "need"), list(product([KEEPER, OF_ONE, MEMBER], Need)))
def test_without_a_machine_only_a_keeper_writes(who: SignedIn, need: Need) -> None:
    """A part that was never in any machine is nobody's in particular."""
    expected = need in (Need.NOTHING, Need.SIGNED_IN) or who is KEEPER

    assert allowed(need, who, None) is expected


# What each token opens, of the routes there are: nothing that is not told here.
OPENED = {
    frozenset[Scope](): set[tuple[str, str]](),
    frozenset({Scope.READ}): {("GET", "/api/v1/machines/{tag}"), ("GET", "/api/v1/procedures")},
    frozenset({Scope.RECORD_TRIALS}): {("POST", "/api/v1/machines/{tag}/trials")},
}


@pytest.mark.parametrize(("who", "scopes"), list(product([KEEPER, OF_ONE, MEMBER], OPENED)))
def test_a_token_opens_what_it_is_for_and_no_more_than_its_owner_may(who: SignedIn, scopes: frozenset[Scope]) -> None:
    program = replace(who, scopes=scopes)

    assert {asked for asked in ASKED if in_scope(program, *asked)} == OPENED[scopes]
    for asked in ASKED:
        need = need_of(*asked)
        assert in_scope(who, *asked)
        for machine in (OWN, OTHER):
            assert allowed(need, program, machine) == allowed(need, who, machine)


def test_tokens_count_below_the_programs_address_alone() -> None:
    """And every address there has its scope."""
    assert {asked for asked in ASKED if is_for_programs(asked[1])} == set(SCOPES)
    assert all(path.startswith("/api/v1/") for _, path in SCOPES)
