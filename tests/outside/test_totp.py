"""Codes of an authenticator against RFC 6238, Appendix B: the rows for SHA-1, of which six digits are the last six."""

from datetime import UTC, datetime

import pytest

from server.access import codes
from server.access.codes import expect_code
from server.records.commands.accounts import OpenAccount
from server.records.errors import Invalid
from server.records.questions.accounts import find_account
from server.records.store import Store
from server.records.tables import CodeSecret

SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # noqa: S105 (the appendix's 12345678901234567890 in Base32)
HASH = "$argon2id$" + "x" * 40
# Seconds since 1970, and the code of eight digits. RFC 4226, 5.3: fewer digits are those modulo a power of ten.
APPENDIX_B = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
]


@pytest.mark.parametrize(("seconds", "code"), APPENDIX_B)
def test_the_appendix_s_codes_are_taken_at_their_times(
    store: Store, seconds: int, code: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.carry_out(OpenAccount(name="ada", signs_as="Ada", password_hash=HASH), "keeper")
    with store.noting() as session:
        account = find_account(session, "ada")
        session.add(CodeSecret(account_id=account.key, secret=SECRET))
    monkeypatch.setattr(codes, "now", lambda: datetime.fromtimestamp(seconds, UTC))

    with pytest.raises(Invalid):
        expect_code(store, account, f"{(int(code) + 1) % 10**6:06}")
    expect_code(store, account, code[-6:])
    with pytest.raises(Invalid):
        expect_code(store, account, code[-6:])
