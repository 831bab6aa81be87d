"""A dermatologist's interval or day in place of the rules, with a reason and an end (docs/domain.md, 4 and 7)."""

from dataclasses import dataclass, replace
from datetime import date as Day
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from clinic import clock
from clinic.access import Act, require
from clinic.models import Member, Patient, PatientStatus, StaleRow, change
from clinic.trail import audit
from clinic.wording import SPOKEN
from scheduling.models import OPEN, Override, Recall
from scheduling.planning import visits_wanted
from scheduling.planning.gather import gather_facts, override_fact
from scheduling.planning.rules_in_force import rules_in_force
from scheduling.planning.wording import OWN
from scheduling.rules.facts import facts
from scheduling.rules.facts.facts import Facts, UnreadableFacts
from scheduling.rules.plan import engine
from scheduling.rules.plan.plan import Due

Key = tuple[str, str]
REPLACED = "replaced"  # the code that stands for a reason where a later decision took the place of one


class OverrideRefused(ValueError):
    """Raised where an interval or a day cannot be set so; the text is the sentence for the page."""


class Lengthens(OverrideRefused):
    """Raised where the patient would be seen later: `effect` is shown and accepted before it is saved."""

    def __init__(self, effect: "Effect") -> None:
        super().__init__(
            _("The patient would be seen later: look at both dates and accept it, or change it.")
        )
        self.effect = effect


@dataclass(frozen=True)
class Effect:
    """What a step does to one duty: as it stands without it and with it; None where nothing is asked for.

    `fewer`: of the visits of the next two years one comes later or is not asked for any more.
    """

    before: Due | None
    after: Due | None
    fewer: bool

    @property
    def later_by(self) -> int:
        """Count the days by which the next visit comes later."""
        if self.before is None or self.after is None:
            return 0
        return max(0, (self.after.target - self.before.target).days)

    @property
    def lengthens(self) -> bool:
        return self.later_by > 0 or self.fewer


def set_interval(*, interval: str, **given: Any) -> Override:
    """Set an own interval: `given` as in `set_date`; `interval` is an ISO 8601 duration such as P6M."""
    return _set(interval=interval, date=None, **given)


def set_date(*, date: Day, **given: Any) -> Override:
    """Set an own day. `given`: patient, by, purpose, subject, reason, `until` (a last day), `accepted` (a later day was
    seen and accepted) and `revision`, the patient's facts revision that was on the screen.
    """
    return _set(interval="", date=date, **given)


@transaction.atomic
def _set(
    *,
    patient: Patient,
    by: Member,
    purpose: str,
    subject: str,
    interval: str,
    date: Day | None,
    reason: str,
    revision: int,
    until: Day | None = None,
    accepted: bool = False,
) -> Override:
    require(by, Act.OVERRIDE)
    _check(patient, reason, date, until)
    _check_subject(patient, subject)
    _lock(patient, revision)
    row = Override(
        patient=patient,
        purpose=purpose,
        subject=subject,
        interval=interval,
        date=date,
        until=until,
        reason=reason.strip(),
        by=by,
        decided_on=clock.today(),
        changed_at=clock.now(),
    )
    # Before the old one ends: the effect is what the patient will notice, whatever decision stood until now.
    effect = _checked_effect(row, accepted)
    replaced = standing(patient, (purpose, subject))
    if replaced:
        change(replaced, seen=replaced.revision, at=clock.now(), **_ending(by, REPLACED))
    row.save()
    said = {"what": f"{purpose} {subject}", "interval": interval, "date": str(date or "")}
    why = {"reason": row.reason, "until": str(until or ""), "replaces": replaced.pk if replaced else None}
    audit.record("override.set", by=by, subject=row, patient=patient, **said, **why, **_plain(effect))
    return row


@transaction.atomic
def end(*, override: Override, by: Member, revision: int, reason: str, accepted: bool = False) -> Override:
    """End an own interval or day: the rules count again from today; a later date is accepted here as well."""
    require(by, Act.OVERRIDE)
    if not reason.strip():
        raise OverrideRefused(_("Say why it ends."))
    if override.ended_on:
        raise OverrideRefused(_("This decision has ended already."))
    effect = effect_of_end(override)
    if effect.lengthens and not accepted:
        raise Lengthens(effect)
    still = {"ended_on__isnull": True}
    change(override, seen=revision, at=clock.now(), where=still, **_ending(by, reason.strip()))
    about = {"reason": reason.strip(), **_plain(effect)}
    audit.record("override.end", by=by, subject=override, patient=override.patient, **about)
    return override


def standing(patient: Patient, key: Key) -> Override | None:
    """Find the own interval or day that holds for one duty."""
    return Override.objects.filter(
        patient=patient, purpose=key[0], subject=key[1], ended_on__isnull=True
    ).first()


def by_the_rules(patient: Patient, key: Key) -> Due | None:
    """Work out what the rules in force alone ask for."""
    return _due(_without(gather_facts(patient), key), key)


def effect_of_setting(row: Override) -> Effect:
    """Compare with the rules alone, whatever decision stood before; the row need not be saved."""
    key = (row.purpose, row.subject)
    rules_only = _without(gather_facts(row.patient), key)
    decided = replace(rules_only, overrides=(*rules_only.overrides, override_fact(row)))
    return _beside_what_stands(_compare(rules_only, decided, key), row)


def _beside_what_stands(effect: Effect, row: Override) -> Effect:
    """Compare with the open duty where that is earlier than the rules would now give: the patient was promised it."""
    held = Recall.objects.filter(
        patient=row.patient, purpose=row.purpose, subject=row.subject, state__in=OPEN
    )
    # Not one that an own interval opened: that is what is being replaced, and no promise of the rules.
    first = held.exclude(rule__startswith=OWN).order_by("latest").first()
    if first is None or effect.before is None or first.latest >= effect.before.latest:
        return effect
    promised = replace(effect.before, earliest=first.earliest, target=first.target, latest=first.latest)
    return replace(effect, before=promised)


def effect_of_end(row: Override) -> Effect:
    """Work out what ends with an own interval or day: the duty as it stands, and as the rules alone would have it."""
    key, now = (row.purpose, row.subject), gather_facts(row.patient)
    return _compare(now, _without(now, key), key, once=row.date is not None)


def is_spent(row: Override, governs: set[str]) -> bool:
    """Say whether an own interval or day is over: its end has passed, and no open recall follows it."""
    last = row.until or row.date
    return last is not None and last < clock.today() and f"{OWN}{row.pk}" not in governs


def _check(patient: Patient, reason: str, date: Day | None, until: Day | None) -> None:
    if patient.status != PatientStatus.ACTIVE:
        raise OverrideRefused(_("Care has ended: resume it before a date is set."))
    # A full stop is what people type into a field that must not be empty.
    if not reason.strip(" ."):
        raise OverrideRefused(_("Say why: the reason stands beside the date wherever it is shown."))
    if any(day is not None and day < clock.today() for day in (date, until)):
        raise OverrideRefused(_("Choose days from today on."))
    if date and until and until < date:
        raise OverrideRefused(_("The end lies before the date itself."))


def _check_subject(patient: Patient, subject: str) -> None:
    kind, _sep, key = subject.partition(":")
    name = _ROWS.get(kind)
    rows = getattr(patient, name) if name else None
    # Through the patient's own rows: the number of somebody else's lesion may be typed into an address.
    if subject != "patient" and not (rows and key.isdecimal() and rows.filter(pk=key).exists()):
        raise OverrideRefused(_("This belongs to nothing on this patient's record."))


_ROWS = {"lesion": "lesions", "diagnosis": "diagnoses", "procedure": "procedures"}


def _lock(patient: Patient, revision: int) -> None:
    """Lock the patient: the dates that were looked at hold only for the facts that they were made from."""
    same = Patient.objects.select_for_update().filter(pk=patient.pk, facts_revision=revision)
    if not same.values_list("pk").first():
        raise StaleRow(patient)


def _checked_effect(row: Override, accepted: bool) -> Effect:
    try:
        effect = effect_of_setting(row)
    except UnreadableFacts as error:
        raise OverrideRefused(
            _("This cannot be planned: %(why)s.") % {"why": error.in_words(SPOKEN)}
        ) from error
    if effect.before and effect.before.urgency == "A":
        raise OverrideRefused(_("This is urgent work: it is not put off, the patient is examined."))
    if effect.after is None:
        raise OverrideRefused(_("No day follows from this: there is none to count from, or it ends before."))
    if effect.lengthens and not accepted:
        raise Lengthens(effect)
    return effect


def _without(known: Facts, key: Key) -> Facts:
    others = (one for one in known.overrides if (one.purpose, one.subject) != key)
    return replace(known, overrides=tuple(others))


def _compare(before: Facts, after: Facts, key: Key, once: bool = False) -> Effect:
    """Compare the open duty and the visits of the next two years, one beside the other.

    `once`: the duty before was one set day, an extra one that nothing after it is counted by.
    """
    old, new = _deadlines(before, key), _deadlines(after, key)
    longer_by, falls_away = visits_wanted.longer(old[1:] if once else old, new)
    return Effect(_due(before, key), _due(after, key), longer_by > 0 or falls_away)


def _due(known: Facts, key: Key) -> Due | None:
    rules = rules_in_force()
    if rules is None:
        raise OverrideRefused(_("No rule set is in force: nothing is planned yet."))
    # Through the strict reader, as every plan: supposed facts must not get past what real ones may not.
    found = engine.plan(facts.parse(facts.to_json(known)), rules[1], clock.today()).due
    return next((one for one in found if (one.purpose, one.subject) == key), None)


def _deadlines(known: Facts, key: Key) -> list[tuple[Day, Day]]:
    first, rules, today = _due(known, key), rules_in_force(), clock.today()
    if first is None or rules is None:
        return []
    all_of_it = visits_wanted.following(known, rules[1], (first,), today, today + visits_wanted.AHEAD)
    return visits_wanted.deadlines(first, [one for one in all_of_it if (one.purpose, one.subject) == key])


def _ending(by: Member, reason: str) -> dict[str, Any]:
    return {"ended_on": clock.today(), "ended_by": by, "ended_reason": reason}


def _plain(effect: Effect) -> dict[str, Any]:
    days = {"target_before": effect.before, "target_after": effect.after}
    found = {name: str(due.target) if due else "" for name, due in days.items()}
    return {**found, "later_by": effect.later_by, "fewer": effect.fewer}
