"""Every table of the record; importing this fills the metadata that migrations compare against."""

from server.records.tables.accounts import (
    Account,
    AccountMachine,
    AccountSecret,
    ApiToken,
    CodeSecret,
    FailedAttempt,
    Invitation,
    RecoveryCode,
    SignIn,
)
from server.records.tables.calculations import Calculation, CalculationInput, CalculationRun
from server.records.tables.designs import Design
from server.records.tables.dossiers import DossierImport
from server.records.tables.files import AttachedFile
from server.records.tables.journal import JournalEntry
from server.records.tables.lists import ColumnMatching
from server.records.tables.machines import Board, BoardStay, Machine, Position
from server.records.tables.maps import BoardPicture, MapPin, MatchPoint
from server.records.tables.mods import Expectation, Mod, ModMove, Step
from server.records.tables.nets import Net, NetPin
from server.records.tables.parts import Loan, Part, Placement, Storage
from server.records.tables.photographs import Photograph
from server.records.tables.share_links import ShareLink
from server.records.tables.sheets import SignedSheet
from server.records.tables.symptoms import Evidence, PossibleCause, Symptom
from server.records.tables.trials import Procedure, Trial, TrialMod
from server.records.tables.waveforms import Waveform

__all__ = [
    "Account",
    "AccountMachine",
    "AccountSecret",
    "ApiToken",
    "AttachedFile",
    "Board",
    "BoardPicture",
    "BoardStay",
    "Calculation",
    "CalculationInput",
    "CalculationRun",
    "CodeSecret",
    "ColumnMatching",
    "Design",
    "DossierImport",
    "Evidence",
    "Expectation",
    "FailedAttempt",
    "Invitation",
    "JournalEntry",
    "Loan",
    "Machine",
    "MapPin",
    "MatchPoint",
    "Mod",
    "ModMove",
    "Net",
    "NetPin",
    "Part",
    "Photograph",
    "Placement",
    "Position",
    "PossibleCause",
    "Procedure",
    "RecoveryCode",
    "ShareLink",
    "SignIn",
    "SignedSheet",
    "Step",
    "Storage",
    "Symptom",
    "Trial",
    "TrialMod",
    "Waveform",
]
