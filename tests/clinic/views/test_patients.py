from datetime import date

import pytest
from django.db import transaction
from django.test import Client
from django.urls import reverse

from clinic.duties import ledger
from clinic.forms import RiskForm
from clinic.models import AuditRecord, ContactRoute, Patient, ReadRecord
from clinic.people import finding
from clinic.people.risk import FACTORS
from tests import build
from tests.page import read

pytestmark = pytest.mark.django_db


@pytest.fixture
def nurse(client):
    member = build.nurse()
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    return member


def search(client, words):
    return client.post(reverse("clinic:find"), {"words": words})


def test_a_name_stands_in_no_address(client, nurse):
    """OWASP, "Information exposure through query strings in URL": history, log and referrer keep an address."""
    for _ in range(51):
        build.patient(given_name="Zoë", family_name="Müller")
    answer = search(client, "muller, zoe")
    assert answer.status_code == 302 and "zoe" not in answer.url and "muller" not in answer.url
    shown = read(client.get(answer.url))
    assert "Fifty-one people for “muller, zoe”" in shown or "51 people for “muller, zoe”" in shown
    further = shown.link("Next page").get("href")
    assert further.startswith("?search=") and "zoe" not in further
    second = read(client.get(reverse("clinic:patients") + further))
    assert "page 2 of 2" in second and len(second.rows()) == 2
    addresses = [one.get("href") + one.get("action") for one in second.walk()]
    assert not [one for one in addresses if "zoe" in one.lower() or "ller" in one.lower()]


def test_two_searches_side_by_side_keep_apart(client, nurse):
    build.patient(family_name="Alder"), build.patient(family_name="Birch")
    first, second = search(client, "alder").url, search(client, "birch").url
    assert "Alder" in read(client.get(first)) and "Birch" not in read(client.get(first))
    assert "Birch" in read(client.get(second))


def test_a_search_without_a_token_is_refused(nurse):
    """Django's documentation, "Cross Site Request Forgery protection": a POST needs the token of the session."""
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(nurse, backend="clinic.project.backends.ClinicBackend")
    form = read(strict.get(reverse("clinic:patients"))).find_all("search")[0]
    token = form.fields("csrfmiddlewaretoken")[0].value
    assert form.get("method") == "post" and search(strict, "alder").status_code == 403
    given = {"words": "alder", "csrfmiddlewaretoken": token}
    assert strict.post(reverse("clinic:find"), given).status_code == 302


def test_a_search_of_another_session_is_not_shown(client, nurse):
    build.patient(family_name="Alder")
    address, other = search(client, "nobody").url, Client()
    other.force_login(build.nurse(), backend="clinic.project.backends.ClinicBackend")
    assert "That search is no longer kept" in read(other.get(address))
    assert "nobody" in read(client.get(address)) and "Nobody of that name" in read(client.get(address))


def test_the_session_keeps_the_last_searches_only(client, nurse):
    first = search(client, "the first").url
    for number in range(20):
        last = search(client, f"name{number}").url
    assert "no longer kept" in read(client.get(first)) and "name19" in read(client.get(last))


def test_nothing_typed_shows_everybody(client, nurse):
    assert search(client, "  ").url == reverse("clinic:patients")


def test_too_many_are_no_list_but_a_request_for_more(client, nurse, monkeypatch):
    monkeypatch.setattr(finding, "MOST_FOUND", 2)
    for _ in range(3):
        build.patient(family_name="Common")
    shown = read(client.get(search(client, "common").url))
    assert "More than 2 people for “common”" in shown and "Type more of the name" in shown
    assert shown.rows() == []


def test_a_patient_is_registered_and_the_page_opens(client, nurse):
    answer = client.post(
        reverse("clinic:register"),
        {"given_name": "Ottilie", "family_name": "Marsh", "born": "1958-02-03", "phone": "000 77"},
        follow=True,
    )
    found = Patient.objects.get(family_name="Marsh")
    assert found.number in read(answer)
    assert "3 Feb 1958" in read(answer)
    assert ContactRoute.objects.get(patient=found).value == "000 77"


MARSH = {"given_name": "Ottilie", "family_name": "Marsh", "born": "1958-02-03", "phone": "000 77"}


def test_registration_asks_sex_practitioner_referrer_and_photographs(client, nurse):
    """Values of sex: HL7 FHIR, AdministrativeGender. That a referral names both: common practice, no source."""
    form = read(client.get(reverse("clinic:register")))
    assert form.offered("sex") == ["", "female", "male", "other", "unknown"]
    asked = {
        "sex": "female",
        "practitioner": "Dr Hale, 01632 960 700",
        "referrer": "Dr Sorrel, Larkhythe",
        "photographs": "yes",
        "photographs_on": "2024-03-05",
    }
    shown = read(client.post(reverse("clinic:register"), MARSH | asked, follow=True))
    for words in ("female", "Dr Hale, 01632 960 700", "Dr Sorrel, Larkhythe", "agrees since 5 Mar 2024"):
        assert words in shown


def test_nothing_of_it_is_guessed_or_required(client, nurse):
    shown = read(client.post(reverse("clinic:register"), MARSH, follow=True))
    found = Patient.objects.get(family_name="Marsh")
    assert (found.sex, found.practitioner, found.referrer) == ("", "", "")
    assert not found.photo_consents.exists() and "not asked yet" in shown


def test_an_answer_before_the_birth_is_refused_and_nobody_is_registered(client, nurse):
    wrong = MARSH | {"photographs": "yes", "photographs_on": "1957-01-01"}
    answer = client.post(reverse("clinic:register"), wrong)
    assert answer.status_code == 422 and "before the patient's birth" in read(answer)
    assert not Patient.objects.exists()


def test_the_details_are_amended_with_the_others_and_on_record(client, nurse):
    someone = build.patient(sex="male")
    form = {"given_name": "A", "family_name": "B", "born": "1960-05-17", "revision": someone.revision}
    client.post(reverse("clinic:amend", args=[someone.pk]), form | {"sex": "other", "referrer": "Dr Vane"})
    someone.refresh_from_db()
    assert (someone.sex, someone.referrer) == ("other", "Dr Vane")
    changed = AuditRecord.objects.get(patient=someone, action="patient.amend").details["changed"]
    assert changed["sex"] == ["male", "other"] and changed["referrer"] == ["", "Dr Vane"]


def test_who_asks_the_referrer_reads_who_that_is(client):
    someone = build.patient(referrer="Dr Vane, 01632 960 701", practitioner="Dr Hale")
    by = build.dermatologist()
    with transaction.atomic():
        duty = ledger.open_duty("ask_referrer", patient=someone, opened_from=someone, by=by)
        other = ledger.open_duty("find_a_way", patient=someone, opened_from=someone, by=by)
    client.force_login(by)
    shown = read(client.get(reverse("clinic:duty", args=[duty.pk])))
    assert "Dr Vane, 01632 960 701" in shown and "Dr Hale" in shown
    assert "Dr Vane" not in read(client.get(reverse("clinic:duty", args=[other.pk])))


def test_the_same_person_is_not_registered_twice_by_mistake(client, nurse):
    build.patient(given_name="Otto", family_name="Marsh", born=date(1958, 2, 3))
    form = {"given_name": "otto", "family_name": "MARSH", "born": "1958-02-03"}
    answer = client.post(reverse("clinic:register"), form)
    assert answer.status_code == 422 and "already registered" in read(answer)
    client.post(reverse("clinic:register"), form | {"same_name_checked": "on"})
    assert Patient.objects.count() == 2


def test_whoever_may_be_registered_already_is_shown_before_saving(client, nurse):
    """The desk's own finding: Zoe Mueller-Lukasz of the same birth day was registered unasked."""
    known = build.patient(given_name="Zoë", family_name="Müller-Łukasz", born=date(1971, 7, 19))
    form = {
        "given_name": "Zoe",
        "family_name": "Mueller-Lukasz",
        "born": "1971-07-19",
        "phone": "01 22 33 44",
    }
    answer = client.post(reverse("clinic:register"), form)
    shown = read(answer)
    assert answer.status_code == 422 and Patient.objects.count() == 1
    assert known.number in shown and "same day of birth, like name" in shown
    assert shown.leads_to(reverse("clinic:patient", args=[known.pk])) and "same telephone" not in shown
    client.post(reverse("clinic:register"), form | {"same_name_checked": "on"})
    assert Patient.objects.count() == 2


def test_the_same_telephone_is_asked_about(client, nurse):
    build.patient(family_name="Alder", phone="+353 1 234 5678")
    form = {"family_name": "Birch", "born": "2001-02-03", "phone": "00353 (0)1 2345678"}
    assert "same telephone" in read(client.post(reverse("clinic:register"), form))


def test_a_day_in_the_future_is_refused_and_what_was_typed_stays(client, nurse):
    answer = client.post(reverse("clinic:register"), {"family_name": "Typed-Name", "born": "2999-01-01"})
    assert answer.status_code == 422
    page = read(answer)
    assert "lies in the future" in page and page.field("Family name").value == "Typed-Name"


def test_opening_a_patient_is_recorded(client, nurse):
    someone = build.patient()
    client.get(reverse("clinic:patient", args=[someone.pk]))
    assert ReadRecord.objects.get().by == nurse


def test_a_stale_form_gets_the_conflict_page(client, nurse):
    someone = build.patient()
    form = {"given_name": "A", "family_name": "B", "born": "1960-01-01", "revision": someone.revision}
    assert client.post(reverse("clinic:amend", args=[someone.pk]), form).status_code == 302
    answer = client.post(reverse("clinic:amend", args=[someone.pk]), form | {"given_name": "Z"})
    assert answer.status_code == 409
    assert Patient.objects.get(pk=someone.pk).given_name == "A"


@pytest.mark.parametrize("rows", [1, 3])
def test_the_list_asks_the_same_number_of_questions(client, rows, django_assert_num_queries):
    member = build.manager()
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    for _ in range(rows):
        build.patient(given_name="Same", family_name="Name", by=member)
    client.get(reverse("clinic:patients"))
    with django_assert_num_queries(LIST_QUERIES):
        client.get(reverse("clinic:patients"))


LIST_QUERIES = 6  # session, member, what the masthead counts, rows, namesakes, standstill


def test_the_administrator_sees_no_patient(client):
    client.force_login(build.administrator(), backend="clinic.project.backends.ClinicBackend")
    someone = build.patient()
    assert client.get(reverse("clinic:patients")).status_code == 403
    assert client.get(reverse("clinic:patient", args=[someone.pk])).status_code == 403
    assert client.get(reverse("clinic:staff")).status_code == 200


def test_a_risk_assessment_gives_tier_and_reasons_on_the_page(client, nurse):
    build.tiers_in_force()
    someone = build.patient()
    form = {key: value for key, value in build.AVERAGE_ANSWERS.items() if value is not False}
    form |= {"assessed_on": "2026-01-05", "red_hair": "on"}
    answer = client.post(reverse("clinic:assess_risk", args=[someone.pk]), form, follow=True)
    assert read(answer).find("strong", "High") and "Red hair" in read(answer)


def risk_form(**answers):
    given = build.AVERAGE_ANSWERS | answers
    return {"assessed_on": "2026-01-05"} | {key: value for key, value in given.items() if value is not False}


def test_every_answer_is_asked_once_in_its_group():
    form = RiskForm()
    asked = [field.name for _, fields in form.groups() for field in fields]
    assert sorted(asked) == sorted(FACTORS) and form.open_decisions() == []


def test_the_page_asks_for_a_tier_only_where_the_criteria_leave_it_open(client, nurse):
    """Any atypical mole: 4.0 times, Chang et al., Int J Cancer 2009;124:420-428; the criteria say average."""
    build.tiers_in_force()
    someone = build.patient(born=date(1990, 1, 1))
    url = reverse("clinic:assess_risk", args=[someone.pk])
    assert "The tier you choose" not in read(client.get(url))
    answer = client.post(url, risk_form(atypical="1-5"))
    shown = read(answer)
    assert answer.status_code == 422 and "choose the tier yourself" in shown and "Say why" in shown
    assert "The tier you choose" in shown and "4 times (2.8 to 5.8)" in shown
    chosen = {"chosen": "above_average", "chosen_because": "Two, one of them large."}
    shown = read(client.post(url, risk_form(atypical="1-5") | chosen, follow=True))
    assert shown.find("strong", "Above average") and "by the criteria: average" in shown
    assert "Two, one of them large." in shown


def test_three_relatives_put_genetic_counselling_to_the_assessor(client, nurse):
    """Cancer Council, Optimal care pathway for people with melanoma, 2nd edition, step 3."""
    build.tiers_in_force()
    someone = build.patient(born=date(1990, 1, 1))
    url = reverse("clinic:assess_risk", args=[someone.pk])
    shown = read(client.post(url, risk_form(relatives=1, other_relatives=2)))
    assert "genetic counselling: your decision" in shown
    form = risk_form(relatives=1, other_relatives=2) | {"counselling": "referred"}
    shown = read(client.post(url, form, follow=True))
    assert "genetic counselling: your decision" in shown and shown.find("strong", "referral is being made")


def test_a_reason_from_memory_says_so_on_the_patients_page(client, nurse):
    someone = build.patient()
    build.risk_assessment(someone, past_melanoma=True, several_melanomas=True)
    shown = read(client.get(reverse("clinic:patient", args=[someone.pk])))
    assert "Two or more invasive melanomas" in shown and "from memory, to be confirmed" in shown


def test_a_visit_needs_to_say_what_was_done(client):
    someone = build.patient()
    client.force_login(build.dermatologist(), backend="clinic.project.backends.ClinicBackend")
    url = reverse("clinic:record_visit", args=[someone.pk])
    assert client.post(url, {"attended_on": "2026-01-05"}).status_code == 422
    client.post(url, {"attended_on": "2026-01-05", "done": ["full_skin_check|patient"]})
    assert someone.visits.get().done.get().purpose == "full_skin_check"
