"""What can be set from outside, each with its reason. Names in the environment begin with PUTBACK_."""

import getpass
import re
from pathlib import Path
from typing import Annotated, Literal
from urllib.parse import urlsplit

import platformdirs
from pydantic import AfterValidator, BeforeValidator, Field, ValidationError
from pydantic_settings import BaseSettings, NoDecode, SettingsConfigDict
from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError

from server.records.commands.base import NeededLine, messages
from server.records.store import sqlite_url

WEB_ADDRESS = re.compile(
    r"https?://(\[[0-9a-f:.]+\]|[a-z0-9]([a-z0-9.-]*[a-z0-9])?)(:\d{1,5})?(/[a-z0-9._~%/-]{1,100})?",
    re.ASCII | re.IGNORECASE,
)
LOOPBACK = ("127.0.0.1", "localhost", "::1")


def _usual_folder() -> Path:
    return Path(platformdirs.user_data_dir("putback", appauthor=False))


def _login_name() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a container without a password file has no login names
        return "keeper"


def _of_postgresql(url: str) -> str:
    try:
        known = not url or make_url(url).get_backend_name() == "postgresql"
    except ArgumentError:
        known = False
    if not known:
        raise ValueError("Write a PostgreSQL address, such as postgresql://user@host/name.")
    return url


def _address(url: str) -> str:
    tidy = url.strip().rstrip("/")
    if tidy and not WEB_ADDRESS.fullmatch(tidy):
        raise ValueError("Write the address that others reach this record at, such as https://records.example.org.")
    return tidy


def _parted(value: object) -> object:
    return [name.strip() for name in value.split(",") if name.strip()] if isinstance(value, str) else value


class Settings(BaseSettings):
    """One installation's settings. The README's table is tested against these."""

    model_config = SettingsConfigDict(env_prefix="PUTBACK_", extra="ignore")

    data: Path = Field(default_factory=_usual_folder, description="Folder that holds the record and its files.")
    database_url: Annotated[str, AfterValidator(_of_postgresql)] = Field(
        default="", description="PostgreSQL address of a club's record; empty for the SQLite file in the data folder."
    )
    host: str = Field(
        default="127.0.0.1", description="Address to listen at; any but this machine's own needs accounts."
    )
    port: int = Field(default=8181, ge=0, le=65535, description="Port to listen at; 0 takes any free one.")
    keeper: NeededLine = Field(default_factory=_login_name, description="Who signs entries where nobody else is named.")
    allowed_hosts: Annotated[list[str], NoDecode, BeforeValidator(_parted)] = Field(
        default=list(LOOPBACK), description="Host names the server answers to, parted by commas; others are refused."
    )
    public_url: Annotated[str, AfterValidator(_address)] = Field(
        default="",
        description="Address that others reach this record at; codes on signed mod sheets and share links lead there.",
    )
    upload_most_mb: int = Field(
        default=100,
        ge=1,
        description="Largest request body, in megabytes; a form with photographs or files may have ten times that.",
    )
    parts_list_most_mb: int = Field(default=5, ge=1, description="Largest list of parts or mods, in megabytes.")
    daily_copies: Literal["yes", "no"] = Field(
        default="yes", description="Whether `putback serve` copies the SQLite file once a day, into the data folder."
    )
    log_level: Literal["debug", "info", "warning", "error"] = Field(default="info", description="How much is logged.")
    log_format: Literal["plain", "json"] = Field(default="plain", description="Log lines for people or for programs.")

    @property
    def url(self) -> str:
        """Where the record is."""
        return self.database_url or sqlite_url(self.data)

    @property
    def hosts(self) -> list[str]:
        """Every host name by which this installation is reached."""
        public = urlsplit(self.public_url).hostname
        return [host.strip("[]").lower() for host in self.allowed_hosts] + ([public] if public else [])

    @property
    def copies_daily(self) -> bool:
        """PostgreSQL has its own ways to be copied."""
        return self.daily_copies == "yes" and not self.database_url

    @property
    def place(self) -> str:
        """Where the record is, in words that hold no password."""
        return make_url(self.database_url).render_as_string() if self.database_url else str(self.data)


def unset(problem: ValidationError) -> str:
    """What is wrong with settings, in one sentence a setting."""
    prefix = Settings.model_config["env_prefix"]
    return " ".join(f"{prefix}{name.upper()}: {sentence}" for name, sentence in messages(problem).items())
