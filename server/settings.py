"""What can be set from outside, each with its reason. Names in the environment begin with PUTBACK_."""

import getpass
from pathlib import Path
from typing import Literal

import platformdirs
from pydantic import Field
from pydantic_settings import BaseSettings, SettingsConfigDict

from server.records.store import sqlite_url

LOOPBACK = ("127.0.0.1", "localhost", "::1")


def _usual_folder() -> Path:
    return Path(platformdirs.user_data_dir("putback", appauthor=False))


def _login_name() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):  # a container without a password file has no login names
        return "keeper"


class Settings(BaseSettings):
    """One installation's settings. The README's table is tested against these."""

    model_config = SettingsConfigDict(env_prefix="PUTBACK_", extra="ignore")

    data: Path = Field(default_factory=_usual_folder, description="Folder that holds the record and its files.")
    database_url: str = Field(
        default="", description="PostgreSQL address of a club's record; empty for the SQLite file in the data folder."
    )
    host: str = Field(default="127.0.0.1", description="Address to listen at.")
    port: int = Field(default=8181, ge=0, le=65535, description="Port to listen at; 0 takes any free one.")
    keeper: str = Field(default_factory=_login_name, description="Who signs entries where nobody else is named.")
    allowed_hosts: list[str] = Field(
        default=list(LOOPBACK), description="Host names the server answers to, as a JSON list; others are refused."
    )
    upload_most_mb: int = Field(default=100, ge=1, description="Largest request body, in megabytes.")
    parts_list_most_mb: int = Field(default=5, ge=1, description="Largest parts list, in megabytes.")
    log_level: Literal["debug", "info", "warning", "error"] = Field(default="info", description="How much is logged.")
    log_format: Literal["plain", "json"] = Field(default="plain", description="Log lines for people or for programs.")

    @property
    def url(self) -> str:
        """Where the record is."""
        return self.database_url or sqlite_url(self.data)
