"""Who may do what: one table of roles and acts, and the guard that every view carries."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.db.models import TextChoices
from django.http import HttpRequest, HttpResponseBase
from django.utils.translation import gettext_lazy as _

from clinic.models import Member, Role


class Act(TextChoices):
    SEE_PATIENTS = "see_patients", _("see patients")
    REGISTER_PATIENTS = "register_patients", _("register and amend patients")
    SAY_SAME_PERSON = "say_same_person", _("say whether two records are one person")
    END_CARE = "end_care", _("end a patient's care")
    ASSESS_RISK = "assess_risk", _("record a risk assessment")
    RECORD_VISIT = "record_visit", _("record a visit")
    SKIN_CHECK = "skin_check", _("record a full skin check")
    SEE_PICTURES = "see_pictures", _("see pictures")
    ADD_PICTURES = "add_pictures", _("register lesions and add pictures")
    NOTE_SIGNS = "note_signs", _("note an urgent sign")
    EXAMINE = "examine", _("record an examination in person")
    SEE_DECISIONS = "see_decisions", _("see what waits for a decision")
    SIGN_OFF = "sign_off", _("sign a decision")
    FILL_CHECKLIST = "fill_checklist", _("fill in a checklist")
    RECORD_PROCEDURES = "record_procedures", _("record procedures")
    RECORD_RESULTS = "record_results", _("record diagnoses")
    READ_RESULTS = "read_results", _("read a report or a letter")
    TELL_PATIENT = "tell_patient", _("record that the patient was told")
    DO_DUTIES = "do_duties", _("do what a list owes")
    END_DUTIES = "end_duties", _("end a duty with a ground, and say what follows")
    PROPOSE_ENDING = "propose_ending", _("propose to end something that is owed")
    ANSWER_PROPOSALS = "answer_proposals", _("confirm or refuse what was proposed")
    SEE_WORKLIST = "see_worklist", _("see the day's list")
    CONTACT = "contact", _("claim work and log contact attempts")
    BOOK = "book", _("book and change appointments")
    SET_SESSIONS = "set_sessions", _("set sessions, and how long a visit lasts")
    CLOSE_DAYS = "close_days", _("close the clinic for a day")
    PROPOSE_CLOSING = "propose_closing", _("propose to close a recall")
    CLOSE_RECALLS = "close_recalls", _("close a recall of urgency A or B")
    OVERRIDE = "override", _("set another interval or date in place of the rules")
    SEE_MISSED = "see_missed", _("audit missed follow-ups")
    SEE_TRAIL = "see_trail", _("see the audit trail")
    SEE_RULES = "see_rules", _("see the rules")
    PROPOSE_POLICY = "propose_policy", _("propose a rule set or limits")
    APPROVE_POLICY = "approve_policy", _("approve a rule set or limits")
    MANAGE_STAFF = "manage_staff", _("manage accounts")


_CARE = {
    Act.SEE_PATIENTS,
    Act.REGISTER_PATIENTS,
    Act.SAY_SAME_PERSON,
    Act.RECORD_VISIT,
    Act.SEE_PICTURES,
    Act.ADD_PICTURES,
    Act.NOTE_SIGNS,
    Act.SEE_DECISIONS,
    Act.SEE_WORKLIST,
    Act.CONTACT,
    Act.BOOK,
    Act.CLOSE_DAYS,
    Act.PROPOSE_CLOSING,
    Act.PROPOSE_ENDING,
    Act.DO_DUTIES,
    Act.RECORD_PROCEDURES,
    Act.SEE_MISSED,
    Act.SEE_RULES,
}

ACTS: dict[str, frozenset[Act]] = {
    # Risk and results are talked about face to face, where the nurse is; what ends, closes or lengthens is not hers.
    Role.NURSE: frozenset(_CARE | {Act.ASSESS_RISK, Act.TELL_PATIENT}),
    # Nobody both manages accounts and signs decisions: one person could lend himself a second signature.
    Role.DERMATOLOGIST: frozenset(set(Act) - {Act.MANAGE_STAFF}),
    # Sees names and what is late, never a picture: running the clinic needs no look at anybody's skin.
    Role.MANAGER: frozenset(
        {
            Act.SEE_PATIENTS,
            Act.SEE_DECISIONS,
            Act.SEE_WORKLIST,
            Act.SEE_MISSED,
            Act.SEE_TRAIL,
            Act.SEE_RULES,
            Act.PROPOSE_POLICY,
            Act.SET_SESSIONS,
            Act.CLOSE_DAYS,
        }
    ),
    # Often somebody from outside (IT): no act here opens a patient's record.
    Role.ADMINISTRATOR: frozenset({Act.MANAGE_STAFF}),
}


def may(member: Any, act: Act) -> bool:
    """True if this signed-in member may do `act`; asked on the server for every action."""
    if not getattr(member, "is_authenticated", False):
        return False
    # A full skin check is learned by a person and comes with no role, so the right stands on the member.
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


class StaffRequest(HttpRequest):
    """A request as a view gets it behind its guard: somebody of the staff is signed in."""

    user: Member


View = Callable[..., HttpResponseBase]


def allow(act: Act | None) -> Callable[[View], View]:
    """Guard a view: who is not signed in goes to the log-in page, a wrong role gets 403. None = any member."""

    def guard(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            # 403 and no log-in page: who is signed in would log in again and again and never learn that it is the
            # role.
            if act is not None and not may(request.user, act):
                raise NotAllowed(act.value)
            return view(request, *args, **kwargs)

        guarded.act = act  # type: ignore[attr-defined]  # the test of the guards reads it
        return guarded

    return guard
