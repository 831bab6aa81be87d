"""The pages on which two records are looked at, merged by two members, and parted again."""

from datetime import date, timedelta

import pytest
from django.db import transaction
from django.urls import reverse

from clinic import clock
from clinic.duties import ledger, proposals
from clinic.merging import likely_same
from clinic.models import LikelyPair, Merge, Proposal, ReadRecord
from clinic.people import consent, patients
from scheduling.planning import replan
from tests import build
from tests.clinic.merging.merge_scene import merge, pair_of
from tests.page import read
from tests.scheduling import scene

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _noon():
    with clock.at(scene.NOON):
        yield


@pytest.fixture
def pair():
    one = build.patient(given_name="Ottilie", family_name="Marchbank", phone="01632 960 111")
    build.patient(given_name="Otilie", family_name="Marchbank", phone="01632 960 112")
    scene.came(one, build.days_ago(3))
    likely_same.find_pairs(scene.TODAY)
    return LikelyPair.objects.get()


def browser(member):
    return build.signed_in(member)


def test_the_list_shows_both_records_side_by_side(pair):
    page = read(browser(build.nurse()).get(reverse("clinic:same_people")))
    for words in ("One pair of records", "Ottilie Marchbank", "Otilie Marchbank", pair.one.number, pair.other.number,
                  "01632 960 111", "01632 960 112", "14 Jun 2026", "to be decided by"):  # fmt: skip
        assert words in page
    assert "%" not in page.text and "0.9" not in page.text


def test_days_of_birth_that_differ_are_said_wherever_a_merge_is_decided():
    """Two people of one name are what a merge must not make one of: common practice, no source."""
    one, other = (
        build.patient(given_name="Ottilie"),
        build.patient(given_name="Ottilie", born=date(1984, 10, 28)),
    )
    found, nurse = pair_of(one, other), browser(build.nurse())
    for address in (reverse("clinic:same_people"), reverse("clinic:pair", args=[found.pk])):
        assert "The days of birth differ." in read(nurse.get(address))
    said = {"survivor": one.pk, "reason": "a passport", "revision": found.revision}
    nurse.post(reverse("clinic:pair", args=[found.pk]), said)
    asked = reverse("clinic:proposal", args=[Proposal.objects.get().pk])
    assert "their days of birth differ" in read(browser(build.dermatologist()).get(asked))


def test_days_of_birth_that_agree_are_not_mentioned(pair):
    assert "days of birth differ" not in read(browser(build.nurse()).get(reverse("clinic:same_people")))


def test_the_problems_name_how_many_pairs_wait(pair):
    assert "Perhaps one person: 1 pair" in read(browser(build.nurse()).get(reverse("scheduling:problems")))


def test_a_manager_sees_the_list_and_decides_nothing(pair):
    page = read(browser(build.manager()).get(reverse("clinic:same_people")))
    assert "Otilie Marchbank" in page and "Two people" not in page.text.split("members have made")[1]


def test_two_people_leave_the_list(pair):
    client = browser(build.nurse())
    client.post(reverse("clinic:two_people", args=[pair.pk]), {"revision": pair.revision})
    assert "Nothing: no two records look like one person" in read(client.get(reverse("clinic:same_people")))
    late = client.post(reverse("clinic:two_people", args=[pair.pk]), {"revision": pair.revision})
    assert late.status_code == 409


def test_one_proposes_and_another_confirms_on_pages(pair):
    nurse, doctor = browser(build.nurse()), browser(build.dermatologist())
    address = reverse("clinic:pair", args=[pair.pk])
    assert ReadRecord.objects.count() == 0 and nurse.get(address).status_code == 200
    assert set(ReadRecord.objects.values_list("patient", flat=True)) == {pair.one_id, pair.other_id}
    sent = {"revision": pair.revision, "survivor": pair.one_id, "reason": "the same card"}
    assert nurse.post(address, sent).status_code == 302
    asked = Proposal.objects.get()
    shown = read(doctor.get(reverse("clinic:proposal", args=[asked.pk])))
    assert f"Merge {pair.other.number} Otilie Marchbank into {pair.one.number} Ottilie Marchbank" in shown
    assert shown.link("Look at both records").get("href") == address
    doctor.post(
        reverse("clinic:proposal", args=[asked.pk]),
        {"revision": asked.revision, "confirmed": "yes", "answer": ""},
    )
    assert Merge.objects.get().gone == pair.other


def test_the_list_says_that_a_proposal_waits_and_for_whom(pair):
    nurse, doctor = browser(build.nurse(name="N. Ash")), browser(build.dermatologist(name="D. Elm"))
    sent = {"revision": pair.revision, "survivor": pair.one_id, "reason": "the same card"}
    page, address = reverse("clinic:same_people"), reverse("clinic:pair", args=[pair.pk])
    assert [one for one in read(nurse.get(page)).links() if one.startswith("Propose to merge")]
    nurse.post(address, sent)
    asked = Proposal.objects.get()
    for client, word in ((nurse, "Look"), (doctor, "Answer")):
        shown = read(client.get(page))
        assert "Propose to merge" not in shown and "proposed by N. Ash" in shown and "the same card" in shown
        assert "A dermatologist answers it by" in shown
        assert shown.leads_to(reverse("clinic:proposal", args=[asked.pk]))
        assert any(name.startswith(f"{word}: merge") for name in shown.links())
    # “Two people” would be refused as well, until it is answered.
    assert not [name for name in read(nurse.get(page)).buttons() if name.startswith("Two people")]
    doctor.post(
        reverse("clinic:proposal", args=[asked.pk]),
        {"revision": asked.revision, "confirmed": "no", "answer": "two cards"},
    )
    pair.refresh_from_db()
    doctor.post(address, {**sent, "revision": pair.revision})
    assert "Another member answers it by" in read(nurse.get(page))


def propose_something_else(patient):
    duty = ledger.open_duty("find_a_way", patient=patient, opened_from=patient, by=build.nurse())
    fields = {"reason": "she said so", "ground": "declined"}
    return proposals.propose(
        "duty.end", patient=patient, subject=duty, by=build.nurse(name="N. Ash"), **fields
    )


def test_what_else_is_proposed_is_answered_before_a_merge_is_offered(pair):
    with transaction.atomic():
        asked = propose_something_else(pair.other)
    client, address = browser(build.nurse()), reverse("clinic:pair", args=[pair.pk])
    for one in (reverse("clinic:same_people"), address):
        shown = read(client.get(one))
        assert "Propose to merge" not in [*shown.links(), *shown.buttons()] and "It waits" in shown, one
        assert not [name for name in shown.links() if name.startswith("Propose to merge")]
        assert "proposed by N. Ash" in shown and shown.leads_to(reverse("clinic:proposal", args=[asked.pk]))
        # That they are two people can be said all the same.
        assert [name for name in shown.buttons() if name.startswith("Two people")]
    # Whoever had the form open keeps what was typed.
    sent = {"revision": pair.revision, "survivor": pair.one_id, "reason": "the same card"}
    late = client.post(address, sent)
    assert late.status_code == 422 and "the same card" in late.content.decode()
    with transaction.atomic():
        proposals.refuse(proposal=asked, by=build.dermatologist(), revision=asked.revision, answer="no")
    assert "Propose to merge" in read(client.get(address)).buttons()


def test_no_merge_is_undone_while_something_else_is_proposed(pair):
    done = merge(pair.one, pair.other, pair=pair)
    address, client = reverse("clinic:part", args=[done.pk]), browser(build.nurse())
    assert "Propose to undo it" in read(client.get(address)).buttons()
    with transaction.atomic():
        propose_something_else(done.survivor)
    shown = read(client.get(address))
    assert "Propose to undo it" not in shown.buttons() and "It waits" in shown


def test_answers_that_differ_are_said_wherever_a_merge_is_decided(pair):
    """That the stricter of two answers holds until somebody has asked again: common practice, no source."""
    nurse = build.nurse()
    consent.record(patient=pair.one, by=nurse, given=True, on=build.days_ago(3))
    client, address = browser(nurse), reverse("clinic:pair", args=[pair.pk])
    words = "Their answers to photographs differ"
    assert words not in read(client.get(address))
    consent.record(patient=pair.other, by=nurse, given=False, on=build.days_ago(30))
    assert words in read(client.get(address)) and words in read(client.get(reverse("clinic:same_people")))
    client.post(address, {"revision": pair.revision, "survivor": pair.one_id, "reason": "the same card"})
    asked = reverse("clinic:proposal", args=[Proposal.objects.get().pk])
    assert "their answers to photographs differ" in read(browser(build.dermatologist()).get(asked))


def test_the_record_says_that_two_answers_stand(pair):
    nurse = build.nurse()
    consent.record(patient=pair.one, by=nurse, given=True, on=build.days_ago(3))
    consent.record(patient=pair.other, by=nurse, given=False, on=build.days_ago(30))
    merge(pair.one, pair.other, pair=pair)
    client, page = browser(nurse), reverse("clinic:patient", args=[pair.one_id])
    shown = read(client.get(page))
    assert "Two answers to photographs: the stricter holds. Ask again." in shown and "no photographs" in shown
    with clock.at(scene.NOON + timedelta(hours=1)):
        consent.record(patient=pair.one, by=nurse, given=True, on=scene.TODAY)
    shown = read(client.get(page))
    assert "Two answers to photographs" not in shown and "agrees since" in shown


def test_an_old_address_leads_to_the_record_that_is_kept(pair):
    merge(pair.one, pair.other, pair=pair)
    client = browser(build.nurse())
    for name in ("clinic:patient", "scheduling:call"):
        answer = client.get(reverse(name, args=[pair.other_id]), follow=True)
        assert answer.redirect_chain[-1][0] == reverse(name, args=[pair.one_id])
        assert f"{pair.other.number} was merged into this record, {pair.one.number}" in read(answer)


def test_a_tab_of_yesterday_saves_nothing_on_the_old_record(pair):
    merge(pair.one, pair.other, pair=pair)
    sent = {"kind": "phone", "value": "01632 960 199"}
    answer = browser(build.nurse()).post(reverse("clinic:add_route", args=[pair.other_id]), sent, follow=True)
    assert "Nothing of yours was saved" in read(answer)
    assert not pair.one.routes.filter(value="01632 960 199").exists()


def test_the_record_says_what_was_merged_and_by_whom(pair):
    by, second = build.dermatologist(name="D. One"), build.nurse(name="N. Two")
    merge(pair.one, pair.other, by=by, second=second, pair=pair)
    page = read(browser(by).get(reverse("clinic:patient", args=[pair.one_id])))
    assert f"{pair.other.number} Otilie Marchbank was merged into this record" in page and "D. One" in page


def test_before_two_part_the_page_says_what_stays(pair):
    done = merge(pair.one, pair.other, pair=pair)
    nurse = build.nurse(name="N. Three")
    client = browser(nurse)
    address = reverse("clinic:part", args=[done.pk])
    assert "both records will be exactly as they were" in read(client.get(address))
    patients.add_route(patient=done.survivor, by=nurse, kind="phone", value="01632 960 113")
    page = read(client.get(address))
    assert "added a contact route" in page and "N. Three" in page
    assert client.post(address, {"reason": "two sisters"}).status_code == 302
    assert Proposal.objects.filter(act="patient.unmerge", answered_at=None).count() == 1


def test_a_later_day_is_shown_before_it_is_proposed():
    build.rules_in_force()
    strict, lower = build.patient(), build.patient()
    build.risk_assessment(strict, on=build.days_ago(300), past_melanoma=True, naevi="over100")
    build.risk_assessment(lower, on=build.days_ago(1))
    for one in (strict, lower):
        replan.replan_patient(one.pk)
    pair = pair_of(strict, lower)
    sent = {"revision": pair.revision, "survivor": strict.pk, "reason": "the same card"}
    answer = browser(build.dermatologist()).post(reverse("clinic:pair", args=[pair.pk]), sent)
    page = read(answer)
    assert (
        answer.status_code == 422
        and "Seen later than before" in page
        and "I have looked at both days" in page
    )
    assert not Proposal.objects.exists()


def test_somebody_names_the_other_record_by_its_number():
    one, other = build.patient(), build.patient()
    client, address = browser(build.nurse()), reverse("clinic:same_as", args=[one.pk])
    assert client.post(address, {"number": "QD-99999"}).status_code == 422
    assert client.post(address, {"number": one.number}).status_code == 422
    answer = client.post(address, {"number": str(other.pk)})
    assert answer.url == reverse("clinic:pair", args=[LikelyPair.objects.get().pk])


def test_the_record_says_that_another_may_be_the_same(pair):
    page = read(browser(build.nurse()).get(reverse("clinic:patient", args=[pair.one_id])))
    assert f"Perhaps the same person: {pair.other.number} Otilie Marchbank" in page
