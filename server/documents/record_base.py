"""What every entry of a record has, and what is said of keys that are not always there."""

from datetime import datetime
from typing import Literal
from uuid import UUID

from pydantic import BaseModel, ConfigDict

OUTSIDE = "Null too when it is in the record of another machine: a board that moves takes its positions along."
PRIVATE = "Private: there only in a record that its keeper asked for with it."
Nothing = Literal[""]  # where a word is not said


class Told(BaseModel):
    """What stands within an entry and is none itself."""

    model_config = ConfigDict(extra="forbid")


class Recorded(BaseModel):
    """One entry: a UUID that survives export and import, and who made it when."""

    model_config = ConfigDict(extra="forbid")

    uuid: UUID
    created_at: datetime
    created_by: str
