"""More acts of the random lives: pictures and where they belong, workers that are lost, rules that change."""

from functools import cache, lru_cache

from hypothesis import strategies as st
from hypothesis.stateful import rule

from clinic import clock, policies
from clinic.duties import ledger, steps
from clinic.models import Duty, Patient, Step
from clinic.people import patients as people
from clinic.people import staffing
from lesions.analysis import pipeline
from lesions.analysis.drawing.phantom import draw
from lesions.measuring import measure
from lesions.models import Assessment, Decision, Diagnosis, Image, Lesion, Procedure, Review, SignOff
from lesions.pictures import storage
from lesions.results import in_error
from lesions.review import dissent, putting_right, signoff
from scheduling.desk import taking_back as desk_taking_back
from scheduling.desk import unfiled
from scheduling.models import Appointment, ContactAttempt, Recall
from scheduling.planning import replan
from scheduling.recalls import closing
from scheduling.rule_changes import approval, preview
from scheduling.rules.ruleset import ruleset
from tests.lesions import scene as pictures
from tests.lesions.analysis import pictures as drawn

# Drawn evenly: a whole number would nearly always be a small one, and so the same nurse.
ANY = st.sampled_from(range(12))
WORDS = st.sampled_from(["said so", "said so", "said so", ""])
_MOST_PICTURES = 8
_FIRST = '{ every = "P3M", for = "P2Y", early = "P14D", late = "P14D" }'
_OTHERS = (_FIRST, _FIRST.replace("P3M", "P6M"), _FIRST.replace("P3M", "P2M"))


def one_of(rows, index):
    """One of the rows that there are now, or None."""
    rows = list(rows)
    return rows[index % len(rows)] if rows else None


def measure_each_picture_once(monkeypatch):
    """The core answers the same bytes alike; its own tests prove it."""
    monkeypatch.setattr(pipeline, "measure", lru_cache(maxsize=64)(pipeline.measure))
    monkeypatch.setattr(pipeline, "compare", lru_cache(maxsize=256)(pipeline.compare))


@cache
def _bytes(number):
    """Every other one shows a lesion of good quality, the rest shows nothing that could be found."""
    return drawn.jpeg(draw(drawn.small(number)).image) if number % 2 else pictures.jpeg(number + 900)


class Workers:
    """Nobody waits for a worker: pictures are measured and plans made when one comes round, or the sweep does."""

    plans_stand_still = False

    def sweep(self):
        """As the sweep does it; what a lost worker had claimed is free again when its lease is over."""
        for key in measure.waiting():
            measure.measure_picture(key)
        replan.replan_many(list(replan.patients_to_replan()))

    @rule()
    def a_picture_is_measured(self):
        with clock.at(self.now):
            key = next(iter(measure.waiting()), None)
        if key is not None:
            self.try_to(measure.measure_picture, assessment_id=key)

    @rule()
    def a_worker_is_lost_while_it_measures(self):
        with clock.at(self.now):
            if key := next(iter(measure.waiting()), None):
                measure._claim(key)

    @rule()
    def the_planning_worker_is_lost(self):
        self.plans_stand_still = True

    @rule()
    def a_worker_comes_round(self):
        with clock.at(self.now):
            self.plans_stand_still = False
            self.come_into_line()


class Pictures:
    """Filed, judged, moved to another lesion or patient, set aside, and brought back."""

    @rule(which=ANY, who=ANY, rotten=st.sampled_from([False, False, False, True]))
    def a_picture_is_filed(self, which, who, rotten):
        lesion = one_of(Lesion.objects.select_related("patient"), which)
        number = Image.objects.count()
        if number < _MOST_PICTURES:
            self.try_to(self._file, lesion=lesion, by=self.by(who), number=number, rotten=rotten)

    def _file(self, lesion, by, number, rotten):
        image = pictures.file(lesion, _bytes(number), by=by)
        if rotten:
            storage.path(image.sha256).write_bytes(b"rotten")

    @rule(which=ANY, who=ANY, decision=st.sampled_from(Decision.values), months=st.integers(1, 24))
    def a_picture_is_decided_on(self, which, who, decision, months):
        review = one_of(Review.objects.filter(state="waiting"), which)
        if review is not None:
            months = months if decision == Decision.LOOK_AGAIN else None
            said = {"decision": decision, "months": months, "in_person": True, "all_the_same": True}
            by = self.doctors[who % len(self.doctors)]
            self.try_to(signoff.record, review_id=review.pk, by=by, revision=review.revision, **said)

    def _wrong_picture(self, which):
        signed = Image.objects.filter(assessments__reviews__signoff__decision=Decision.WRONG_SUBJECT)
        return one_of(signed.select_related("lesion__patient").distinct(), which)

    @rule(which=ANY, who=ANY, where=ANY)
    def a_picture_is_moved(self, which, who, where):
        image, lesion = self._wrong_picture(which), one_of(Lesion.objects.select_related("patient"), where)
        if image is not None:
            about = {"image": image, "by": self.by(who), "revision": image.revision}
            self.try_to(putting_right.move, lesion=lesion, **about)

    @rule(which=ANY)
    def a_move_is_taken_back(self, which):
        moved = Duty.objects.filter(kind="put_picture_right", evidence__startswith="lesions.picturemove:")
        duty = one_of(moved.select_related("ended_by"), -1 - which)
        if duty is not None:
            self.try_to(ledger.take_back, duty=duty, by=duty.ended_by, revision=duty.revision)

    @rule(which=ANY, who=ANY, reason=WORDS)
    def a_picture_is_set_aside(self, which, who, reason):
        image = self._wrong_picture(which)
        if image is not None:
            about = {"image": image, "by": self.by(who), "revision": image.revision}
            self.try_to(putting_right.set_aside, reason=reason, **about)

    @rule(which=ANY, who=ANY)
    def a_failed_measuring_is_asked_for_again(self, which, who):
        row = one_of(Assessment.objects.filter(state="failed"), which)
        if row is not None:
            self.try_to(measure.measure_again, assessment=row, by=self.by(who), revision=row.revision)


class Readers:
    """Dermatologists who disagree, and who leave: what waits for a reader finds one among those who are left."""

    @rule(which=ANY, who=ANY, decision=st.sampled_from(Decision.values), months=st.integers(1, 24))
    def a_dermatologist_dissents(self, which, who, decision, months):
        signed = one_of(SignOff.objects.select_related("lesion__patient", "by"), -1 - which)
        if signed is not None:
            months = months if decision == Decision.LOOK_AGAIN else None
            by = self.doctors[who % len(self.doctors)]
            self.try_to(dissent.record, signed=signed, by=by, decision=decision, months=months)

    @rule(who=ANY)
    def a_dermatologist_leaves(self, who):
        if len(self.doctors) > 1:
            leaves = self.doctors.pop(who % len(self.doctors))
            self.members.remove(leaves)
            self.try_to(staffing.amend, member=leaves, by=self.administrator, is_active=False)


class Errors:
    """What was recorded in error is taken back by who did it, or struck through by two."""

    def _recorded(self, which):
        rows = [
            *Procedure.objects.select_related("patient", "by"),
            *Diagnosis.objects.select_related("patient", "by"),
        ]
        return one_of(rows, which)

    @rule(which=ANY)
    def a_procedure_or_result_is_taken_back(self, which):
        row = self._recorded(which)
        if row is not None:
            self.try_to(in_error.take_back, row=row, by=row.by, revision=row.revision)

    @rule(which=ANY, who=ANY, reason=WORDS)
    def a_procedure_or_result_is_called_an_error(self, which, who, reason):
        row = self._recorded(which)
        if row is not None:
            self.try_to(in_error.propose, row=row, by=self.by(who), reason=reason)

    @rule(which=ANY)
    def a_closing_is_taken_back(self, which):
        recall = one_of(
            Recall.objects.filter(closed_by__isnull=False).select_related("patient", "closed_by"), which
        )
        if recall is not None:
            self.try_to(closing.take_back, recall=recall, by=recall.closed_by, revision=recall.revision)

    @rule(which=ANY)
    def an_entry_is_taken_back_by_who_made_it(self, which):
        rows = Appointment.objects.filter(changed_by__isnull=False).select_related("patient", "changed_by")
        visit = one_of(rows.order_by("-changed_at"), which % 3)
        if visit is not None:
            about = {"appointment": visit, "by": visit.changed_by, "revision": visit.revision}
            self.try_to(desk_taking_back.take_back, **about)

    @rule(which=ANY, what=st.sampled_from(["step", "attempt"]))
    def an_entry_is_struck_through(self, which, what):
        model, act = {"step": (Step, steps.strike), "attempt": (ContactAttempt, desk_taking_back.strike)}[
            what
        ]
        row = one_of(model.objects.filter(struck__isnull=True).order_by("-pk"), which % 3)
        if row is not None:
            self.try_to(act, by=row.by, **{what: row})

    @rule(which=ANY, who=ANY, dead=st.booleans())
    def a_number_is_added_or_dies(self, which, who, dead):
        patient = one_of(Patient.objects.all(), which)
        route = one_of(patient.routes.filter(dead_since=None), who)
        if dead and route is not None:
            self.try_to(people.kill_route, route=route, by=self.by(who))
        elif not dead:
            self.try_to(
                people.add_route, patient=patient, by=self.by(who), kind="phone", value=f"00 {self.now}"
            )

    @rule(who=ANY, signs=st.booleans())
    def somebody_unknown_rings(self, who, signs):
        said = {
            "name": "A caller",
            "number": "00",
            "words": "it grows",
            "signs": ["growing"] if signs else [],
        }
        self.try_to(unfiled.take, by=self.by(who), **said)


class Rules:
    """Another set of rules is proposed by one and approved by another, with every change accepted."""

    @rule(to=st.sampled_from(_OTHERS), who=ANY, other=ANY, approved=st.sampled_from([True, True, False]))
    def the_rules_change(self, to, who, other, approved):
        members = [self.manager, *self.doctors]
        by, second = members[who % len(members)], self.doctors[other % len(self.doctors)]
        self.try_to(self._change_rules, to=to, by=by, second=second, approved=approved)

    def _change_rules(self, to, by, second, approved):
        made = policies.draft(kind="rules", toml=ruleset.shipped("default").replace(_FIRST, to), by=by)
        policy = policies.propose(policy=made, by=by, revision=made.revision)
        if approved:
            found = preview.make_preview(policy, clock.today())
            said = {"digest": found.digest, "accepted": found.lengthened}
            approval.approve(policy=policy, by=second, revision=policy.revision, **said)
