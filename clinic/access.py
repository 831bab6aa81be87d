"""Who may do what: one table of roles and acts, and the guard that every view carries."""

from collections.abc import Callable
from enum import Enum
from functools import wraps
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

from clinic.models import Member, Role


class Act(Enum):
    SEE_PATIENTS = "see patients"
    REGISTER_PATIENTS = "register and amend patients"
    END_CARE = "end a patient's care"
    ASSESS_RISK = "record a risk assessment"
    RECORD_VISIT = "record a visit"
    SKIN_CHECK = "record a full skin check"
    SEE_PICTURES = "see pictures"
    ADD_PICTURES = "register lesions and add pictures"
    NOTE_SIGNS = "note an urgent sign"
    EXAMINE = "record an examination in person"
    SEE_DECISIONS = "see what waits for a decision"
    SIGN_OFF = "sign a decision"
    FILL_CHECKLIST = "fill in a checklist"
    RECORD_PROCEDURES = "record procedures"
    RECORD_RESULTS = "record diagnoses"
    READ_RESULTS = "read a report or a letter"
    TELL_PATIENT = "record that the patient was told"
    DO_DUTIES = "do what a list owes"
    END_DUTIES = "end a duty with a ground, and say what follows"
    PROPOSE_ENDING = "propose to end something that is owed"
    ANSWER_PROPOSALS = "confirm or refuse what was proposed"
    SEE_WORKLIST = "see the day's list"
    CONTACT = "claim work and log contact attempts"
    BOOK = "book and change appointments"
    PROPOSE_CLOSING = "propose to close a recall"
    CLOSE_RECALLS = "close a recall of urgency A or B"
    OVERRIDE = "set another interval or date in place of the rules"
    SEE_MISSED = "audit missed follow-ups"
    SEE_TRAIL = "see the audit trail"
    SEE_RULES = "see the rules"
    PROPOSE_POLICY = "propose a rule set or limits"
    APPROVE_POLICY = "approve a rule set or limits"
    MANAGE_STAFF = "manage accounts"


_CARE = {
    Act.SEE_PATIENTS,
    Act.REGISTER_PATIENTS,
    Act.RECORD_VISIT,
    Act.SEE_PICTURES,
    Act.ADD_PICTURES,
    Act.NOTE_SIGNS,
    Act.SEE_DECISIONS,
    Act.SEE_WORKLIST,
    Act.CONTACT,
    Act.BOOK,
    Act.PROPOSE_CLOSING,
    Act.PROPOSE_ENDING,
    Act.DO_DUTIES,
    Act.RECORD_PROCEDURES,
    Act.SEE_MISSED,
    Act.SEE_RULES,
}

ACTS: dict[str, frozenset[Act]] = {
    Role.NURSE: frozenset(_CARE | {Act.ASSESS_RISK, Act.TELL_PATIENT}),
    Role.DERMATOLOGIST: frozenset(set(Act) - {Act.MANAGE_STAFF}),
    Role.MANAGER: frozenset(
        {
            Act.SEE_PATIENTS,
            Act.SEE_DECISIONS,
            Act.SEE_WORKLIST,
            Act.SEE_MISSED,
            Act.SEE_TRAIL,
            Act.SEE_RULES,
            Act.PROPOSE_POLICY,
        }
    ),
    Role.ADMINISTRATOR: frozenset({Act.MANAGE_STAFF}),
}


def may(member: Any, act: Act) -> bool:
    """True if this signed-in member may do `act`; asked on the server for every action."""
    if not getattr(member, "is_authenticated", False):
        return False
    given = act is Act.SKIN_CHECK and member.checks_skin and member.role == Role.NURSE
    return given or act in ACTS.get(member.role, frozenset())


def roles_with(act: Act) -> list[str]:
    """Name the roles that may do this act, for questions to the database about their members."""
    return [role for role, acts in ACTS.items() if act in acts]


class NotAllowed(PermissionDenied):
    pass


def require(member: Member, act: Act) -> None:
    """Refuse a member who may not do this act; for topic functions whose right depends on the row."""
    if not may(member, act):
        raise NotAllowed(f"{member} may not {act.value}")


View = Callable[..., HttpResponse]


def allow(act: Act | None) -> Callable[[View], View]:
    """Guard a view: who is not signed in goes to the log-in page, a wrong role gets 403. None = any member."""

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            if act is not None and not may(request.user, act):
                raise NotAllowed(act.value)
            return view(request, *args, **kwargs)

        guarded.act = act  # type: ignore[attr-defined]
        return guarded

    return guard
