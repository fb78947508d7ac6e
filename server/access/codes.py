"""Codes of an authenticator beside the password: time-based one-time passwords (RFC 6238), six digits every 30 seconds.

A code is taken once, up to one step before or after the clock's own. Recovery codes stand in for a lost device; each
works once, and its SHA-256 alone is kept. None of this is in the journal: that codes are asked for is, by a command.
"""

import hmac
import secrets
from hashlib import sha256

import pyotp
import structlog
from sqlmodel import col, delete, select

from server.access.attempts import clear_attempts, count_attempt
from server.access.sign_ins import SignedIn
from server.records.clock import now
from server.records.errors import Invalid
from server.records.store import Store
from server.records.tables import Account, CodeSecret, RecoveryCode

log = structlog.get_logger("putback.access")
STEP_S = 30
BESIDE = (0, -1, 1)  # steps, because clocks differ and people type slowly
RECOVERY_CODES = 10
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # none that is read as another
ISSUER = "Putback"
WRONG = "This code is not right, or was used already. Wait for the next one, and see that the device’s clock is right."


def begin_codes(store: Store, who: SignedIn) -> str:
    """A new secret for somebody's device, which counts once a first code proved it; the secret in Base32."""
    secret = pyotp.random_base32()
    with store.noting() as session:
        row = session.get(CodeSecret, who.account) or CodeSecret(account_id=who.account, secret="")
        row.secret, row.last_step = secret, 0
        session.add(row)
    return secret


def secret_of(store: Store, account: int) -> str:
    """The secret that an account's device has, or is about to get; empty where there is none."""
    with store.reading() as session:
        row = session.get(CodeSecret, account)
    return row.secret if row else ""


def address_for_device(secret: str, name: str) -> str:
    """What the picture that a device reads says: an otpauth URI."""
    return pyotp.TOTP(secret).provisioning_uri(name=name, issuer_name=ISSUER)


def expect_code(store: Store, account: Account, typed: str, *, recovery: bool = True) -> None:
    """One code that was typed, taken so that it works no second time. Raises Invalid; it counts as an attempt."""
    attempt = f"code of {account.name}"
    count_attempt(store, attempt)
    typed = "".join(typed.split()).casefold()
    if not (_take_code(store, account.key, typed) or (recovery and _take_recovery_code(store, account.key, typed))):
        log.warning("code refused")
        raise Invalid({"code": WRONG})
    clear_attempts(store, attempt)


def new_recovery_codes() -> list[str]:
    return ["".join(secrets.choice(LETTERS) for _ in range(12)) for _ in range(RECOVERY_CODES)]


def digest_of_code(code: str) -> str:
    return sha256(code.encode()).hexdigest()


def replace_recovery_codes(store: Store, account: int) -> list[str]:
    """Ten new ones; those from before work no more."""
    codes = new_recovery_codes()
    with store.noting() as session:
        session.exec(delete(RecoveryCode).where(col(RecoveryCode.account_id) == account))
        session.add_all(RecoveryCode(account_id=account, digest=digest_of_code(code)) for code in codes)
    return codes


def recovery_codes_left(store: Store, account: int) -> int:
    with store.reading() as session:
        return len(session.exec(select(RecoveryCode.id).where(RecoveryCode.account_id == account)).all())


def _take_code(store: Store, account: int, typed: str) -> bool:
    with store.noting() as session:
        row = session.get(CodeSecret, account)
        if row is None or not (typed.isascii() and typed.isdigit()):
            return False
        now_step = int(now().timestamp()) // STEP_S
        device = pyotp.TOTP(row.secret, interval=STEP_S)
        fitting = [
            now_step + beside
            for beside in BESIDE
            if hmac.compare_digest(device.generate_otp(now_step + beside), typed) and now_step + beside > row.last_step
        ]
        if not fitting:
            return False
        row.last_step = fitting[0]
        session.add(row)
    return True


def _take_recovery_code(store: Store, account: int, typed: str) -> bool:
    with store.noting() as session:
        mine = select(RecoveryCode).where(RecoveryCode.account_id == account)
        row = session.exec(mine.where(RecoveryCode.digest == digest_of_code(typed))).first()
        if row is None:
            return False
        session.delete(row)
    log.info("recovery code used")
    return True
