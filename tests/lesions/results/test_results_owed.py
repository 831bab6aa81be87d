"""From tissue to a patient who knows: every step is owed until a row proves it. Common practice, no source.

Ways are numbered as in the findings on duties that left every list.
"""

from datetime import timedelta

import pytest
from django.db import DatabaseError, transaction
from django.urls import reverse

from clinic import clock
from clinic.access import NotAllowed
from clinic.duties import ledger, steps
from clinic.duties.kinds import OwningList
from clinic.duties.ledger import DutyRefused
from clinic.duties.telling import THE_PATIENT
from clinic.models import AuditRecord, Duty
from lesions.models import Diagnosis, DiagnosisVersion
from lesions.results import pathology
from lesions.results.pathology import ResultRefused
from lesions.results.report_checks import AlreadyReported
from lesions.review import signoff
from scheduling.models import Recall
from scheduling.planning import replan
from tests import build
from tests.lesions import scene
from tests.page import read

pytestmark = pytest.mark.django_db
KNOWN = {"n": "N0", "thickness": "0.8", "ulceration": False}
SAID = {"told": THE_PATIENT, "how": "phone", "words": "the result, and the next visit"}


@pytest.fixture
def lesion():
    return scene.lesion(monitoring="short")


def cut(lesion, by, kind="biopsy", days_ago=10):
    on = build.days_ago(days_ago)
    return pathology.record_procedure(patient=lesion.patient, by=by, kind=kind, on=on, lesion=lesion)


def report(lesion, by, **more):
    fields = {"code": "melanoma", "reported_on": build.days_ago(2), "lesion": lesion, **KNOWN}
    fields |= {"anchor": build.days_ago(10)}
    return pathology.record_diagnosis(patient=lesion.patient, by=by, **fields | more)


def amend(row, by, **fields):
    row.refresh_from_db()
    return pathology.amend_diagnosis(diagnosis=row, by=by, revision=row.revision, **fields)


def owed(lesion):
    return sorted(row.kind for row in ledger.open_duties(lesion.patient))


def open_(lesion, kind):
    return ledger.open_duties(lesion.patient).get(kind=kind)


def settle(lesion, kind, by, outcome, **said):
    duty = open_(lesion, kind)
    return steps.settle(duty=duty, by=by, revision=duty.revision, outcome=outcome, **said)


# ---- tissue ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["biopsy", "excision"])
def test_a_nurse_records_tissue_and_it_is_sent_and_waited_for(lesion, nurse, kind):
    taken = cut(lesion, nurse, kind)
    assert owed(lesion) == ["report", "send_specimen"]
    assert {row.subject for row in ledger.open_duties(lesion.patient)} == {f"procedure:{taken.pk}"}
    settle(lesion, "send_specimen", nurse, "sent", whom="the laboratory")
    assert owed(lesion) == ["confirm_specimen", "report"]
    settle(lesion, "confirm_specimen", nurse, "received")
    assert owed(lesion) == ["report"]


def test_what_leaves_no_tissue_owes_no_report(lesion, nurse):
    cut(lesion, nurse, "other")
    assert owed(lesion) == []


def test_a_report_is_urgent_as_the_decision_was(lesion, nurse, doctor):
    signoff.decide_in_person(lesion=lesion, by=doctor, decision="biopsy")
    cut(lesion, nurse, days_ago=0)
    assert open_(lesion, "report").urgent
    other = scene.lesion()
    cut(other, nurse)
    assert not open_(other, "report").urgent


def test_a_report_ends_with_the_diagnosis_from_that_tissue(lesion, nurse, doctor):
    first, second = cut(lesion, nurse), cut(lesion, nurse)
    row = report(lesion, doctor, code="benign", procedure=first)
    done = Duty.objects.get(kind="report", subject=f"procedure:{first.pk}")
    assert done.evidence == f"lesions.diagnosis:{row.pk}" and done.ended_by == doctor
    left = {(one.kind, one.subject) for one in ledger.open_duties(lesion.patient)} - {
        ("tell", f"diagnosis:{row.pk}")
    }
    assert left == {("report", f"procedure:{second.pk}"), ("send_specimen", f"procedure:{second.pk}")}


@pytest.mark.parametrize(("kind", "outcome"), [("send_specimen", "lost"), ("report", "none")])
def test_lost_tissue_leaves_only_what_follows_to_decide(lesion, nurse, doctor, kind, outcome):
    cut(lesion, nurse)
    step = settle(lesion, kind, doctor, outcome, words="the pot was empty")
    assert owed(lesion) == ["decide_what_follows"]
    steps.strike(step=step, by=doctor)
    assert owed(lesion) == ["report", "send_specimen"]


def test_a_nurse_does_not_call_tissue_lost(lesion, nurse):
    cut(lesion, nurse)
    with pytest.raises(NotAllowed):
        settle(lesion, "send_specimen", nurse, "lost", words="gone")


# ---- telling: way 13 ------------------------------------------------------------------------------


def test_a_recorded_result_is_to_be_told_by_who_was_named(lesion, nurse, doctor):
    report(lesion, doctor, code="benign", tells=nurse)
    duty = open_(lesion, "tell")
    assert (duty.owner, duty.urgent, duty.due_on) == (nurse, False, clock.today() + timedelta(28))


def test_nobody_is_named_who_may_not_tell(lesion, doctor):
    with pytest.raises(ResultRefused, match="may not"):
        report(lesion, doctor, tells=build.member("manager"))


@pytest.mark.parametrize("more", [{"code": "bcc"}, {"code": "dysplastic_naevus", "uncertain": True}])
def test_a_malignant_or_uncertain_result_is_told_within_a_week(lesion, doctor, more):
    report(lesion, doctor, **more)
    duty = open_(lesion, "tell")
    assert duty.urgent and duty.due_on == clock.today() + timedelta(7)


def test_way_13_told_says_who_to_whom_how_when_and_what(lesion, nurse, doctor, client):
    row = report(lesion, doctor, tells=nurse)
    duty = open_(lesion, "tell")
    client.force_login(nurse, backend="clinic.project.backends.ClinicBackend")
    page = read(client.get(reverse("lesions:results")))
    assert page.leads_to(reverse("clinic:duty", args=[duty.pk])) and "Told today" not in page
    given = {"revision": duty.revision, "outcome": "told", "on": str(clock.today())}
    address = reverse("clinic:settle_duty", args=[duty.pk])
    assert client.post(address, given).status_code == 422
    row.refresh_from_db()
    assert row.told_on is None
    said = {"told_to": "patient", "how": "phone", "words": "the result, and the next visit"}
    assert client.post(address, given | said | {"told_to": ""}).status_code == 422
    assert client.post(address, given | said).status_code == 302
    row.refresh_from_db()
    assert (row.told_on, row.told_by) == (clock.today(), nurse)
    step = duty.steps.get()
    assert (step.told_to, step.how, step.words) == tuple(said.values())


def test_a_struck_told_ends_nothing_and_the_duty_is_back(lesion, nurse, doctor):
    row = report(lesion, doctor, tells=nurse)
    pathology.tell(diagnosis=row, by=nurse, **SAID)
    duty = Duty.objects.get(kind="tell")
    steps.strike(step=duty.steps.get(), by=nurse)
    row.refresh_from_db()
    assert (row.told_on, row.told_by) == (None, None) and "tell" in owed(lesion)
    assert AuditRecord.objects.filter(action="diagnosis.untell").exists()


def test_a_struck_told_asks_for_the_visit_again(lesion, nurse, doctor):
    build.rules_in_force()
    taken = cut(lesion, nurse, days_ago=3)
    row = report(lesion, doctor, code="benign", procedure=taken)
    visits = Recall.objects.filter(purpose="result_visit", state__in=("planned", "due", "booked"))
    replan.replan_patient(lesion.patient_id)
    assert visits.exists()
    pathology.tell(diagnosis=row, by=nurse, **SAID)
    replan.replan_patient(lesion.patient_id)
    assert not visits.exists()
    steps.strike(step=Duty.objects.get(kind="tell").steps.get(), by=nurse)
    replan.replan_patient(lesion.patient_id)
    assert visits.exists()


def test_nobody_is_told_before_the_report(lesion, nurse, doctor):
    row = report(lesion, doctor, tells=nurse)
    with pytest.raises(DutyRefused, match="day of the report"):
        pathology.tell(diagnosis=row, by=nurse, on=build.days_ago(3), **SAID)


def test_cannot_be_told_ends_the_duty_and_is_no_telling(lesion, nurse, doctor, client):
    row = report(lesion, doctor, code="bcc")
    with pytest.raises(NotAllowed):
        settle(lesion, "tell", nurse, "cannot", words="she died; her son was told")
    settle(lesion, "tell", doctor, "cannot", words="she died; her son was told")
    row.refresh_from_db()
    assert row.told_on is None and owed(lesion) == []
    client.force_login(nurse, backend="clinic.project.backends.ClinicBackend")
    page = read(client.get(reverse("clinic:patient", args=[lesion.patient_id])))
    assert "not told, and owed no more" in page and "not told yet" not in page


# ---- urgency: way 16 ------------------------------------------------------------------------------


def test_way_16_a_malignant_untold_result_stands_first(doctor, client):
    harmless, bad = scene.lesion(), scene.lesion()
    with clock.at(clock.now() - timedelta(days=27)):
        report(harmless, doctor, code="benign", reported_on=clock.today(), anchor=None)
    report(bad, doctor)
    first, second = ledger.on_list(OwningList.RESULTS)
    assert (first.patient, first.urgent) == (bad.patient, True) and second.patient == harmless.patient
    client.force_login(doctor, backend="clinic.project.backends.ClinicBackend")
    assert "urgent" in read(client.get(reverse("lesions:results"))).text


@pytest.mark.parametrize(
    ("code", "uncertain", "urgency"),
    [("melanoma", False, "A"), ("scc", False, "A"), ("dysplastic_naevus", True, "A"), ("benign", False, "B")],
)
def test_way_16_the_visit_for_such_a_result_is_urgent(lesion, nurse, doctor, code, uncertain, urgency):
    """Urgency B comes from the shipped rule; A from this clinic's duty table, no source."""
    build.rules_in_force()
    taken = cut(lesion, nurse, days_ago=3)
    report(lesion, doctor, code=code, procedure=taken, anchor=build.days_ago(3), uncertain=uncertain)
    replan.replan_patient(lesion.patient_id)
    recall = Recall.objects.get(purpose="result_visit", subject=f"procedure:{taken.pk}")
    assert recall.urgency == urgency


# ---- amending: way 18 -----------------------------------------------------------------------------


def test_way_18_one_melanoma_is_recorded_once(lesion, nurse, doctor, client):
    taken = cut(lesion, nurse)
    row = report(lesion, doctor, procedure=taken)
    for again in ({"procedure": taken, "code": "benign"}, {"code": "melanoma"}):
        with pytest.raises(AlreadyReported) as refused:
            report(lesion, doctor, **again)
        assert refused.value.diagnosis == row
    client.force_login(doctor, backend="clinic.project.backends.ClinicBackend")
    given = {"lesion": lesion.pk, "code": "melanoma", "reported_on": str(clock.today())}
    page = client.post(reverse("lesions:new_diagnosis", args=[lesion.patient_id]), given)
    assert page.status_code == 422
    assert read(page).leads_to(reverse("lesions:amend_diagnosis", args=[row.pk]))


def test_a_second_report_of_a_lesion_is_filed_to_its_tissue(lesion, nurse, doctor):
    """The wider excision shows melanoma as well: one diagnosis, two reports."""
    row = report(lesion, doctor, procedure=cut(lesion, nurse))
    wider = cut(lesion, nurse, "excision", days_ago=5)
    assert "report" in owed(lesion)
    amend(row, doctor, report_of=wider, anchor=wider.on, why="the wider excision was reported")
    assert "report" not in owed(lesion)
    done = Duty.objects.get(kind="report", subject=f"procedure:{wider.pk}")
    assert done.evidence == f"lesions.diagnosisversion:{row.versions.last().pk}"
    about = {duty.subject for duty in ledger.open_duties(lesion.patient).filter(kind="tell")}
    assert about == {f"diagnosis:{row.pk}", f"procedure:{wider.pk}"}


def test_recording_a_further_report_leads_to_the_one_on_record(lesion, nurse, doctor, client):
    row = report(lesion, doctor, procedure=cut(lesion, nurse))
    wider = cut(lesion, nurse, "excision", days_ago=5)
    client.force_login(doctor, backend="clinic.project.backends.ClinicBackend")
    given = {"procedure": wider.pk, "code": "melanoma", "reported_on": str(clock.today())}
    page = read(client.post(reverse("lesions:new_diagnosis", args=[lesion.patient_id]), given))
    link = f"{reverse('lesions:amend_diagnosis', args=[row.pk])}?report_of={wider.pk}"
    assert page.leads_to(link)
    assert client.get(link).context["form"]["report_of"].value() == str(wider.pk)


def test_a_second_report_is_told_for_itself(lesion, nurse, doctor):
    build.rules_in_force()
    row = report(lesion, doctor, procedure=cut(lesion, nurse), tells=nurse)
    pathology.tell(diagnosis=row, by=nurse, **SAID)
    wider = cut(lesion, nurse, "excision", days_ago=1)
    amend(row, doctor, report_of=wider, why="the wider excision was reported")
    visits = Recall.objects.filter(purpose="result_visit", subject=f"procedure:{wider.pk}")
    replan.replan_patient(lesion.patient_id)
    assert visits.get().urgency == "A" and visits.get().state != "completed"
    step = settle(lesion, "tell", doctor, "told", **SAID)
    replan.replan_patient(lesion.patient_id)
    assert visits.get().evidence == f"clinic.step:{step.pk}"
    steps.strike(step=step, by=doctor)
    replan.replan_patient(lesion.patient_id)
    assert visits.filter(state__in=("planned", "due")).exists()
    row.refresh_from_db()
    assert row.told_on == clock.today()


def test_a_report_moved_to_other_tissue_is_owed_by_the_first(lesion, nurse, doctor):
    first, second = cut(lesion, nurse), cut(lesion, nurse)
    row = report(lesion, doctor, procedure=first)
    amend(row, doctor, procedure=second)
    assert open_(lesion, "report").subject == f"procedure:{first.pk}"


def test_versions_are_kept_and_shown(lesion, doctor, client):
    row = report(lesion, doctor, n="")
    amend(row, doctor, n="N0", why="the node report came")
    first, second = row.versions.all()
    assert (first.values["n"], second.values["n"], second.by, second.why) == (
        "",
        "N0",
        doctor,
        "the node report came",
    )
    with pytest.raises(DatabaseError), transaction.atomic():
        DiagnosisVersion.objects.filter(pk=first.pk).update(why="other")
    client.force_login(doctor, backend="clinic.project.backends.ClinicBackend")
    page = read(client.get(reverse("lesions:amend_diagnosis", args=[row.pk])))
    assert "the node report came" in page and "Version 2" in page


def test_completing_opens_no_reading(lesion, nurse, doctor):
    row = report(lesion, doctor, n="", tells=nurse)
    pathology.tell(diagnosis=row, by=nurse, **SAID)
    amend(row, doctor, n="N0")
    row.refresh_from_db()
    assert row.told_on and not {"read", "tell"} & set(owed(lesion))


@pytest.mark.parametrize("told", [True, False])
def test_a_corrected_report_is_read_and_told_anew(lesion, nurse, doctor, told):
    row = report(lesion, doctor, code="benign", anchor=None)
    if told:
        pathology.tell(diagnosis=row, by=nurse, **SAID)
    amend(row, doctor, code="melanoma", why="second opinion", anchor=build.days_ago(10))
    row.refresh_from_db()
    assert row.told_on is None and owed(lesion) == ["read"] and open_(lesion, "read").urgent
    settle(lesion, "read", doctor, "read", teller=nurse)
    assert owed(lesion) == ["margins", "meeting", "node", "tell"]
    assert open_(lesion, "tell").urgent
    pathology.tell(diagnosis=row, by=nurse, **SAID)
    row.refresh_from_db()
    assert row.told_on == clock.today()


def test_a_correction_says_why(lesion, doctor):
    row = report(lesion, doctor, code="benign")
    for corrected in ({"code": "bcc"}, {"corrected": True}):
        with pytest.raises(ResultRefused, match="why"):
            amend(row, doctor, **corrected)


def test_what_was_corrected_since_is_not_taken_back(lesion, doctor):
    row = report(lesion, doctor, code="benign")
    pathology.tell(diagnosis=row, by=doctor, **SAID)
    step = Duty.objects.get(kind="tell").steps.get()
    amend(row, doctor, code="bcc", why="corrected")
    with pytest.raises(DutyRefused, match="corrected"):
        steps.strike(step=step, by=doctor)


# ---- complete -------------------------------------------------------------------------------------


@pytest.mark.parametrize("wanting", ["n", "thickness", "ulceration", "anchor"])
def test_a_melanoma_with_something_wanting_is_completed(lesion, doctor, wanting):
    facts = KNOWN | {"anchor": build.days_ago(10)}
    row = report(lesion, doctor, **{wanting: None if wanting in ("anchor", "ulceration") else ""})
    assert "complete" in owed(lesion)
    amend(row, doctor, **{wanting: facts[wanting]})
    assert "complete" not in owed(lesion)
    done = Duty.objects.get(kind="complete")
    assert done.evidence == f"lesions.diagnosisversion:{row.versions.last().pk}"


def test_a_complete_melanoma_and_a_mole_ask_for_nothing(lesion, doctor):
    report(lesion, doctor)
    report(scene.lesion(lesion.patient), doctor, code="benign", n="", thickness="", anchor=None)
    assert "complete" not in owed(lesion)


def test_will_not_be_known_is_answered_in_place(lesion, doctor):
    row = report(lesion, doctor, n="", thickness="")
    amend(row, doctor, n="NX")
    assert "complete" in owed(lesion)
    amend(row, doctor, not_known=["thickness"])
    assert "complete" not in owed(lesion)
    assert Diagnosis.objects.get(pk=row.pk).not_known == ["thickness"]


def test_will_not_be_known_by_the_plain_entry_is_kept_too(lesion, doctor):
    row = report(lesion, doctor, n="")
    step = settle(lesion, "complete", doctor, "unknown", words="she refused the operation")
    amend(row, doctor, stage="IB")
    assert "complete" not in owed(lesion)
    row.refresh_from_db()
    assert row.not_known == ["n"]
    steps.strike(step=step, by=doctor)
    row.refresh_from_db()
    assert row.not_known == [] and "complete" in owed(lesion)


# ---- your decision --------------------------------------------------------------------------------


def test_an_invasive_melanoma_asks_for_three_decisions(lesion, nurse, doctor):
    report(lesion, doctor)
    rows = {row.kind: row for row in ledger.on_list(OwningList.DECISIONS)}
    assert set(rows) == {"margins", "node", "meeting"}
    with pytest.raises(NotAllowed):
        settle(lesion, "margins", nurse, "planned", words="next week")
    settle(lesion, "margins", doctor, "planned", words="next week")
    assert "margins" not in owed(lesion)


@pytest.mark.parametrize("code", ["melanoma_in_situ", "bcc", "benign"])
def test_nothing_else_asks_for_them(lesion, doctor, code):
    report(lesion, doctor, code=code)
    assert not ledger.on_list(OwningList.DECISIONS).exists()


# ---- the page -------------------------------------------------------------------------------------


def in_masthead(answer):
    """The figure beside the name of the page, as everybody sees it."""
    return next(place.count for place in answer.context["places"] if place.label == "Results")


def test_each_duty_stands_once_and_the_count_is_the_rows(lesion, nurse, doctor, client):
    report(lesion, doctor, procedure=cut(lesion, nurse))
    cut(scene.lesion(), nurse)
    client.force_login(doctor, backend="clinic.project.backends.ClinicBackend")
    answer = client.get(reverse("lesions:results"))
    rows = answer.context["duties"].object_list
    assert len(rows) == len({row["doors"][-1] for row in rows}) == in_masthead(answer) == 3


def test_the_row_of_a_report_leads_to_its_form(lesion, nurse, doctor, client):
    taken = cut(lesion, nurse)
    client.force_login(doctor, backend="clinic.project.backends.ClinicBackend")
    link = f"{reverse('lesions:new_diagnosis', args=[lesion.patient_id])}?procedure={taken.pk}"
    assert read(client.get(reverse("lesions:results"))).leads_to(link)
    assert read(client.get(reverse("clinic:duty", args=[open_(lesion, "report").pk]))).leads_to(link)


def test_long_lists_are_paged(lesion, nurse, doctor, client):
    for _ in range(26):
        cut(lesion, nurse)
    client.force_login(doctor, backend="clinic.project.backends.ClinicBackend")
    answer = client.get(reverse("lesions:results"), {"duties": 2})
    assert len(answer.context["duties"].object_list) == 2 and in_masthead(answer) == 52


def test_two_of_one_name_are_told_apart(lesion, nurse, doctor, client):
    for _ in range(2):
        cut(scene.lesion(build.patient(given_name="Same", family_name="Name")), nurse)
    client.force_login(nurse, backend="clinic.project.backends.ClinicBackend")
    assert "another of this name is on file" in read(client.get(reverse("lesions:results")))
