"""What may be asked by whom: the one place where it is decided. What has no decision here is refused.

Below a machine's address whoever is signed in may look, and who keeps the machine may write. Everything else is told
address by address. Without any account in the record none of this holds: then it is its one keeper who asks.
"""

from enum import IntEnum

from server.access.sign_ins import SignedIn
from server.records.words import Role, Scope

WRITING = frozenset({"POST", "PUT", "PATCH", "DELETE"})


class Need(IntEnum):
    """What somebody has to be, from nobody to a keeper of everything."""

    NOTHING = 0
    SIGNED_IN = 1
    KEEPS_THE_MACHINE = 2
    KEEPS_ALL = 3


BELOW_A_MACHINE = ("/machines/{tag}", "/parts/{number}", "/api/v1/machines/{tag}")
# By address: what it takes to look, and to write; none where nothing can be written.
DECISIONS: dict[str, tuple[Need, Need | None]] = {
    "/healthz": (Need.NOTHING, None),
    "/robots.txt": (Need.NOTHING, None),
    "/sign-in": (Need.NOTHING, Need.NOTHING),
    "/sign-in/code": (Need.NOTHING, Need.NOTHING),
    "/sign-out": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/shared/{token}": (Need.NOTHING, None),
    "/shared/{token}/sheet.pdf": (Need.NOTHING, None),
    "/verify": (Need.NOTHING, None),
    "/verify/{digest}": (Need.NOTHING, None),
    "/account": (Need.SIGNED_IN, None),
    "/account/codes": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/account/codes/begin": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/account/codes/recovery": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/account/codes/off": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/account/password": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/account/sign-ins/{key:int}/end": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/account/tokens": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/account/tokens/{key:int}/withdraw": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/invitation/{token}": (Need.NOTHING, Need.NOTHING),
    "/invitations": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/invitations/{n:int}/withdraw": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/people": (Need.KEEPS_ALL, None),
    "/people/new": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/people/{name}": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/people/{name}/password": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/people/{name}/codes/off": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/people/{name}/close": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/people/{name}/reopen": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/": (Need.SIGNED_IN, None),
    "/journal": (Need.SIGNED_IN, None),
    "/machines/new": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    # A board that moves changes another machine too.
    "/machines/{tag}/boards/{slug}/move": (Need.SIGNED_IN, Need.KEEPS_ALL),
    "/designs": (Need.SIGNED_IN, None),
    "/designs/{slug}": (Need.SIGNED_IN, None),
    "/designs/{slug}/edit": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/designs/{slug}/fit": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/procedures": (Need.SIGNED_IN, None),
    "/procedures/new": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/procedures/{slug}": (Need.SIGNED_IN, None),
    "/procedures/{slug}/edit": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/kept-aside": (Need.SIGNED_IN, None),
    "/kept-aside/new": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/kept-aside/{bag:int}": (Need.SIGNED_IN, None),
    "/kept-aside/labels": (Need.SIGNED_IN, None),
    "/kept-aside/labels.pdf": (Need.SIGNED_IN, None),
    "/photographs/{sha256}/{most:int}": (Need.SIGNED_IN, None),
    "/dossiers/import": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    "/dossiers/import/{key}": (Need.KEEPS_ALL, Need.KEEPS_ALL),
    # Nothing in the record is written there: a file is made to be fetched, or work is stopped by who knows its key.
    "/sheets": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/sheets/{key}": (Need.SIGNED_IN, None),
    "/jobs/{key}": (Need.SIGNED_IN, None),
    "/jobs/{key}/stop": (Need.SIGNED_IN, Need.SIGNED_IN),
    "/lists": (Need.SIGNED_IN, None),
    "/lists/{name}.csv": (Need.SIGNED_IN, None),
    "/understood": (Need.SIGNED_IN, None),
    "/bench-sums": (Need.SIGNED_IN, None),
    "/bench-sums/marking": (Need.SIGNED_IN, None),
    "/bench-sums/preferred": (Need.SIGNED_IN, None),
    "/bench-sums/date-code": (Need.SIGNED_IN, None),
    "/bench-sums/{slug}": (Need.SIGNED_IN, None),
    "/bench-sums/{slug}/attach": (Need.SIGNED_IN, None),
    "/api/v1/procedures": (Need.SIGNED_IN, None),
}

FOR_PROGRAMS = "/api/v1/"
# What a program's token has to be for, by method and address; where none is told here, no token opens it.
SCOPES: dict[tuple[str, str], Scope] = {
    ("GET", "/api/v1/machines/{tag}"): Scope.READ,
    ("GET", "/api/v1/procedures"): Scope.READ,
    ("POST", "/api/v1/machines/{tag}/trials"): Scope.RECORD_TRIALS,
}


def is_for_programs(pattern: str) -> bool:
    """Whether tokens are looked at there; everywhere else they count for nothing."""
    return pattern.startswith(FOR_PROGRAMS)


def in_scope(who: SignedIn, method: str, pattern: str) -> bool:
    """Whether this is what somebody's token is for; whoever came in without one needs no scope."""
    if who.scopes is None:
        return True
    return SCOPES.get(("GET" if method == "HEAD" else method, pattern)) in who.scopes


def need_of(method: str, pattern: str) -> Need | None:
    """What a request of this method takes at an address, as it is written for its handler; none: nobody decided."""
    writes = method in WRITING
    if pattern in DECISIONS:
        look, write = DECISIONS[pattern]
        return write if writes else look
    if pattern in BELOW_A_MACHINE or pattern.startswith(tuple(f"{one}/" for one in BELOW_A_MACHINE)):
        return Need.KEEPS_THE_MACHINE if writes else Need.SIGNED_IN
    return None


def allowed(need: Need | None, who: SignedIn | None, machine: str | None) -> bool:
    """Whether somebody may do what takes this; `machine` is the folded tag of the one that is spoken of."""
    if need is None:
        return False
    if need is Need.NOTHING:
        return True
    if who is None:
        return False
    if need is Need.SIGNED_IN or who.role is Role.KEEPER:
        return True
    of_some = who.role is Role.KEEPER_OF_MACHINES and need is Need.KEEPS_THE_MACHINE
    return of_some and machine is not None and machine in who.machines
