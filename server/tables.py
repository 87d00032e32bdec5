"""All tables. What may change and what may not is enforced by triggers (see ``migrations``)."""

from server.tables_base import Base, UtcDateTime, one_of, random_id
from server.tables_logbook import (
    AuditRow,
    ErasedId,
    Erasing,
    Erasure,
    ExportRun,
    PracticeSetting,
)
from server.tables_people import (
    ROLES,
    Account,
    AccountRole,
    CareLink,
    Child,
    Consent,
    Invitation,
    SignIn,
)
from server.tables_sessions import (
    GoalRow,
    NoteEvent,
    NoteRow,
    ObservationRow,
    PlanRow,
    SessionRow,
    TaskRow,
)
from server.tables_tablets import Calibration, PairingCode, Tablet, Token
from server.tables_trials import (
    OUTCOMES,
    AmendmentRow,
    MarkRow,
    MeasureValue,
    ResultRow,
    TrialRow,
    VoidRow,
)

__all__ = [
    "OUTCOMES",
    "ROLES",
    "Account",
    "AccountRole",
    "AmendmentRow",
    "AuditRow",
    "Base",
    "Calibration",
    "CareLink",
    "Child",
    "Consent",
    "ErasedId",
    "Erasing",
    "Erasure",
    "ExportRun",
    "GoalRow",
    "Invitation",
    "MarkRow",
    "MeasureValue",
    "NoteEvent",
    "NoteRow",
    "ObservationRow",
    "PairingCode",
    "PlanRow",
    "PracticeSetting",
    "ResultRow",
    "SessionRow",
    "SignIn",
    "Tablet",
    "TaskRow",
    "Token",
    "TrialRow",
    "UtcDateTime",
    "VoidRow",
    "one_of",
    "random_id",
]
