"""Every URL × every role × the expected answer, from one table. A URL without a row fails the suite."""

from collections.abc import Iterator

import pytest
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests import build
from tests.world import build_world

pytestmark = pytest.mark.django_db

OK, NO, GONE, BAD = 200, 403, 404, 422
ROLES = ("nurse", "dermatologist", "manager", "administrator")

# url name: (method, what it is about, answers for nurse, dermatologist, manager, administrator)
# A POST without its fields is refused to those who may: 422 or 200 with the form again, 302 with a message, 409 for a
# stale revision. The others get 403.
TABLE: dict[str, tuple[str, str, tuple[int, int, int, int]]] = {
    "start": ("get", "", (302, 302, 302, 302)),
    "words_of_scripts": ("get", "", (OK, OK, OK, OK)),
    "clinic:patients": ("get", "", (OK, OK, OK, NO)),
    "clinic:find": ("post", "", (302, 302, 302, NO)),
    "clinic:register": ("get", "", (OK, OK, NO, NO)),
    "clinic:patient": ("get", "patient", (OK, OK, OK, NO)),
    "clinic:amend": ("get", "patient", (OK, OK, NO, NO)),
    "clinic:add_route": ("post", "patient", (BAD, BAD, NO, NO)),
    "clinic:kill_route": ("post", "route", (302, 302, NO, NO)),
    "clinic:photo_consent": ("post", "patient", (BAD, BAD, NO, NO)),
    "clinic:add_carer": ("post", "patient", (BAD, BAD, NO, NO)),
    "clinic:end_carer": ("post", "carer", (409, 409, NO, NO)),
    "clinic:end_care": ("get", "patient", (OK, OK, NO, NO)),
    "clinic:resume_care": ("post", "patient", (NO, 409, NO, NO)),
    "clinic:assess_risk": ("get", "patient", (OK, OK, NO, NO)),
    "clinic:record_visit": ("get", "patient", (OK, OK, NO, NO)),
    "clinic:take_back_visit": ("post", "visit", (302, 302, NO, NO)),
    "clinic:trail": ("get", "patient", (NO, OK, OK, NO)),
    "clinic:staff_trail": ("get", "", (NO, OK, OK, NO)),
    "clinic:same_as": ("get", "patient", (OK, OK, NO, NO)),
    "clinic:same_people": ("get", "", (OK, OK, OK, NO)),
    "clinic:pair": ("get", "pair", (OK, OK, NO, NO)),
    "clinic:two_people": ("post", "pair", (409, 409, NO, NO)),
    "clinic:part": ("get", "merge", (OK, OK, NO, NO)),
    "clinic:duty": ("get", "duty", (OK, OK, OK, NO)),
    "clinic:settle_duty": ("post", "duty", (BAD, BAD, BAD, NO)),
    "clinic:end_duty": ("post", "duty", (NO, BAD, NO, NO)),
    "clinic:propose_end_duty": ("post", "duty", (BAD, BAD, NO, NO)),
    "clinic:give_duty": ("post", "duty", (NO, BAD, NO, NO)),
    "clinic:put_off_duty": ("post", "duty", (NO, BAD, NO, NO)),
    "clinic:take_back_duty": ("post", "duty", (302, 302, 302, NO)),
    "clinic:proposal": ("get", "proposal", (OK, OK, OK, NO)),
    "clinic:duty_limits": ("get", "", (OK, OK, OK, NO)),
    "clinic:duty_limits_draft": ("get", "", (NO, OK, OK, NO)),
    "clinic:duty_limits_version": ("get", "duty_limits", (OK, OK, OK, NO)),
    "clinic:duty_limits_propose": ("post", "duty_limits", (NO, 409, 409, NO)),
    "clinic:duty_limits_approve": ("post", "duty_limits", (NO, 302, NO, NO)),
    "clinic:tiers": ("get", "", (OK, OK, OK, NO)),
    "clinic:tiers_draft": ("get", "", (NO, OK, OK, NO)),
    "clinic:tiers_version": ("get", "tiers", (OK, OK, OK, NO)),
    "clinic:tiers_propose": ("post", "tiers", (NO, 302, 302, NO)),
    "clinic:tiers_approve": ("post", "tiers", (NO, 302, NO, NO)),
    "clinic:staff": ("get", "", (NO, NO, NO, OK)),
    "clinic:add_member": ("get", "", (NO, NO, NO, OK)),
    "clinic:amend_member": ("get", "member", (NO, NO, NO, OK)),
    "clinic:leaves": ("get", "", (OK, OK, OK, OK)),
    "clinic:withdraw_leave": ("post", "leave", (NO, NO, NO, 409)),
    "lesions:ask_outside": ("get", "review", (NO, OK, NO, NO)),
    "lesions:answer_outside": ("get", "outside", (NO, OK, NO, NO)),
    "lesions:new_lesion": ("get", "patient", (OK, OK, NO, NO)),
    "lesions:lesion": ("get", "lesion", (OK, OK, NO, NO)),
    "lesions:amend_lesion": ("post", "lesion", (OK, OK, NO, NO)),
    "lesions:add_pictures": ("post", "lesion", (BAD, BAD, NO, NO)),
    "lesions:note_sign": ("post", "lesion", (OK, OK, NO, NO)),
    "lesions:examined": ("post", "lesion", (NO, OK, NO, NO)),
    "lesions:decide_in_person": ("get", "lesion", (NO, OK, NO, NO)),
    "lesions:tissue_request": ("get", "to_cut", (OK, OK, NO, NO)),
    "lesions:view_image": ("get", "image", (OK, OK, NO, NO)),
    "lesions:change_map": ("get", "comparison", (OK, OK, NO, NO)),
    "lesions:outline": ("get", "image", (OK, OK, NO, NO)),
    "lesions:scale": ("get", "image", (OK, OK, NO, NO)),
    "lesions:measure_again": ("post", "assessment", (409, 409, NO, NO)),
    "lesions:pictures": ("get", "", (OK, OK, OK, NO)),
    "lesions:settle": ("post", "refused", (409, 409, NO, NO)),
    "lesions:decisions": ("get", "", (OK, OK, OK, NO)),
    "lesions:unflagged": ("get", "", (OK, OK, OK, NO)),
    "lesions:decision": ("get", "review", (OK, OK, NO, NO)),
    "lesions:look": ("post", "review", (409, 409, NO, NO)),
    "lesions:draft": ("post", "review", (NO, OK, NO, NO)),
    "lesions:impression": ("post", "review", (NO, BAD, NO, NO)),
    "lesions:look_first": ("post", "", (NO, GONE, NO, NO)),
    "lesions:sheet": ("get", "beside", (OK, OK, NO, NO)),
    "lesions:dissent": ("post", "signoff", (NO, BAD, NO, NO)),
    "lesions:take_back": ("post", "signoff", (NO, 302, NO, NO)),
    "lesions:put_right": ("get", "wrong", (OK, OK, NO, NO)),
    "lesions:set_aside": ("post", "wrong", (NO, BAD, NO, NO)),
    "lesions:add_addendum": ("post", "signoff", (NO, BAD, NO, NO)),
    "lesions:limits": ("get", "", (OK, OK, OK, NO)),
    "lesions:limits_draft": ("get", "", (NO, OK, OK, NO)),
    "lesions:limits_version": ("get", "limits", (OK, OK, OK, NO)),
    "lesions:limits_propose": ("post", "limits", (NO, 302, 302, NO)),
    "lesions:limits_approve": ("post", "limits", (NO, 302, NO, NO)),
    "lesions:results": ("get", "", (OK, OK, OK, NO)),
    "lesions:amend_diagnosis": ("get", "diagnosis", (NO, OK, NO, NO)),
    "lesions:new_procedure": ("get", "patient", (OK, OK, NO, NO)),
    "lesions:procedure_in_error": ("get", "procedure", (OK, OK, NO, NO)),
    "lesions:diagnosis_in_error": ("get", "diagnosis", (OK, OK, NO, NO)),
    "lesions:unmatched_report": ("get", "", (OK, OK, NO, NO)),
    "lesions:sutures": ("get", "procedure", (OK, OK, NO, NO)),
    "lesions:new_diagnosis": ("get", "patient", (NO, OK, NO, NO)),
    "scheduling:today": ("get", "", (OK, OK, OK, NO)),
    "scheduling:claim": ("post", "patient", (302, 302, NO, NO)),
    "scheduling:hand_back": ("post", "patient", (302, 302, NO, NO)),
    "scheduling:next_call": ("post", "", (302, 302, NO, NO)),
    "scheduling:recall": ("get", "recall", (OK, OK, OK, NO)),
    "scheduling:book": ("post", "recall", (302, 302, NO, NO)),
    "scheduling:book_elsewhere": ("post", "recall", (OK, OK, NO, NO)),
    "scheduling:walk_in": ("post", "recall", (302, 302, NO, NO)),
    "scheduling:places": ("get", "recall", (OK, OK, NO, NO)),
    "scheduling:close": ("post", "recall", (OK, OK, NO, NO)),
    "scheduling:unreachable": ("post", "recall", (NO, OK, NO, NO)),
    "scheduling:strike_attempt": ("post", "attempt", (302, 302, NO, NO)),
    "scheduling:worried_who": ("get", "", (OK, OK, NO, NO)),
    "scheduling:worried": ("get", "patient", (OK, OK, NO, NO)),
    "scheduling:unknown_caller": ("get", "", (OK, OK, NO, NO)),
    "scheduling:register_caller": ("post", "", (302, 302, NO, NO)),
    "scheduling:call": ("get", "patient", (OK, OK, OK, NO)),
    "scheduling:begin_call": ("post", "patient", (BAD, BAD, NO, NO)),
    "scheduling:take_over": ("post", "patient", (302, 302, NO, NO)),
    "scheduling:take_back_call": ("post", "call", (302, 302, NO, NO)),
    "scheduling:confirm": ("post", "appointment", (302, 302, NO, NO)),
    "scheduling:set_override": ("get", "patient", (NO, OK, NO, NO)),
    "scheduling:end_override": ("get", "override", (NO, OK, NO, NO)),
    "scheduling:fill_checklist": ("get", "sheet", (NO, OK, NO, NO)),
    "scheduling:diary": ("get", "", (OK, OK, OK, NO)),
    "scheduling:book_place": ("get", "free_place", (OK, OK, NO, NO)),
    "scheduling:sessions": ("get", "", (OK, OK, OK, NO)),
    "scheduling:new_template": ("get", "", (NO, OK, OK, NO)),
    "scheduling:end_template": ("get", "template", (NO, OK, OK, NO)),
    "scheduling:set_lengths": ("get", "", (NO, OK, OK, NO)),
    "scheduling:open_hours": ("post", "", (NO, OK, OK, NO)),
    "scheduling:remove_hours": ("post", "session", (NO, 302, 302, NO)),
    "scheduling:close_day": ("get", "", (OK, OK, OK, NO)),
    "scheduling:open_day": ("post", "closure", (302, 302, 302, NO)),
    "scheduling:came": ("get", "appointment", (OK, OK, NO, NO)),
    "scheduling:appointment_missed": ("post", "appointment", (302, 302, NO, NO)),
    "scheduling:here": ("post", "appointment", (409, 409, NO, NO)),
    "scheduling:cancel": ("post", "appointment", (BAD, BAD, NO, NO)),
    "scheduling:move": ("get", "appointment", (OK, OK, NO, NO)),
    "scheduling:places_to_move": ("get", "appointment", (OK, OK, NO, NO)),
    "scheduling:take_closing_back": ("post", "recall", (302, 302, NO, NO)),
    "scheduling:take_back": ("post", "appointment", (302, 302, NO, NO)),
    "scheduling:capacity": ("get", "", (OK, OK, OK, NO)),
    "scheduling:count_anew": ("post", "", (302, 302, 302, NO)),
    "scheduling:missed": ("get", "", (OK, OK, OK, NO)),
    "scheduling:owed": ("get", "", (OK, OK, OK, NO)),
    "scheduling:place": ("get", "place", (OK, OK, OK, NO)),
    "scheduling:past_misses": ("get", "", (OK, OK, OK, NO)),
    "scheduling:past_miss_rows": ("get", "", (OK, OK, OK, NO)),
    "scheduling:missed_csv": ("get", "", (OK, OK, OK, NO)),
    "scheduling:problems": ("get", "", (OK, OK, OK, NO)),
    "scheduling:answer_problem": ("get", "problem", (NO, 302, NO, NO)),
    "scheduling:ladder": ("get", "", (OK, OK, OK, NO)),
    "scheduling:ladder_draft": ("get", "", (NO, OK, OK, NO)),
    "scheduling:ladder_version": ("get", "ladder", (OK, OK, OK, NO)),
    "scheduling:ladder_propose": ("post", "ladder", (NO, 409, 409, NO)),
    "scheduling:ladder_approve": ("post", "ladder", (NO, 302, NO, NO)),
    "scheduling:rules": ("get", "", (OK, OK, OK, NO)),
    "scheduling:suppose": ("get", "", (OK, OK, OK, NO)),
    "scheduling:compare": ("get", "", (OK, OK, OK, NO)),
    "scheduling:rules_draft": ("get", "", (NO, OK, OK, NO)),
    "scheduling:rules_version": ("get", "policy", (OK, OK, OK, NO)),
    "scheduling:rules_propose": ("post", "policy", (NO, 302, 302, NO)),
    "scheduling:rules_preview": ("get", "policy", (OK, OK, OK, NO)),
    "scheduling:rules_accepted": ("get", "policy", (OK, OK, OK, NO)),
    "scheduling:rules_approve": ("post", "policy", (NO, 302, NO, NO)),
}
OPEN = {"health": 200, "login": 200}


def names(patterns: list, prefix: str = "") -> Iterator[str]:
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            inner = f"{prefix}{pattern.namespace}:" if pattern.namespace else prefix
            yield from names(pattern.url_patterns, inner)
        elif isinstance(pattern, URLPattern) and pattern.name:
            yield prefix + pattern.name


def test_every_url_has_a_row():
    assert sorted(names(get_resolver().url_patterns)) == sorted({*TABLE, *OPEN, "logout"})


@pytest.fixture
def world() -> dict[str, tuple]:
    return build_world()


@pytest.mark.parametrize("role", ROLES)
def test_each_role_gets_the_answer_of_the_table(client, role, world, settings):
    member = build.member(role)
    client.force_login(member, backend="clinic.project.backends.ClinicBackend")
    wrong = {}
    for name, (method, about, answers) in TABLE.items():
        expected = answers[ROLES.index(role)]
        answer = getattr(client, method)(reverse(name, args=world.get(about, ())))
        if answer.status_code != expected:
            wrong[name] = (answer.status_code, expected)
    assert not wrong, "\n".join(f"{name}: {found}, expected {due}" for name, (found, due) in wrong.items())


def test_a_stranger_is_sent_to_the_log_in_page(client, world):
    for name, (method, about, _) in TABLE.items():
        answer = getattr(client, method)(reverse(name, args=world.get(about, ())))
        assert answer.status_code == 302 and answer.url.startswith(reverse("login")), name


@pytest.mark.parametrize("name", list(OPEN))
def test_the_open_doors_are_open(client, name):
    assert client.get(reverse(name)).status_code == OPEN[name]
