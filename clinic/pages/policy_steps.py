"""Show and take the steps of any policy: a draft is kept, then two different people sign it."""

from collections.abc import Callable
from dataclasses import dataclass

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, resolve_url

from clinic import policies
from clinic.access import Act, StaffRequest, may
from clinic.models import Member, Policy, PolicyKind, PolicyState, StaleRow
from clinic.pages.fields import RevisionForm
from clinic.pages.responses import conflict


@dataclass(frozen=True)
class PolicyPages:
    """One kind of policy and its URL names. What is `said` of a step names the version: “Rule set %(version)s …”."""

    kind: PolicyKind
    home: str
    version: str

    def versions(self) -> list[policies.Version]:
        return policies.history(self.kind)

    def current(self, versions: list[policies.Version]) -> Policy | None:
        """Find the version that is in force."""
        return next((row.policy for row in versions if row.policy.state == PolicyState.IN_FORCE), None)

    def one(self, pk: int) -> Policy:
        signed = Policy.objects.select_related("proposed_by", "approved_by")
        return get_object_or_404(signed, pk=pk, kind=self.kind)

    def keep(
        self, request: StaffRequest, form: forms.Form, check: Callable[[str], list[str]]
    ) -> Policy | None:
        """Keep the text of a form as a draft; None where it cannot be used, with its faults in the form."""
        # A browser sends CRLF; the text of a policy has one line ending.
        text = form.cleaned_data["toml"].replace("\r\n", "\n")
        faults = check(text)
        for fault in faults:
            form.add_error("toml", fault)
        # Checked here as well as there: on the form each fault stands as a line of its own, in the reader's language.
        return None if faults else policies.draft(kind=self.kind, toml=text, by=request.user)

    def propose(self, request: StaffRequest, pk: int, said: str) -> HttpResponse:
        return self.sign(request, pk, policies.propose, said)

    def approve(self, request: StaffRequest, pk: int, said: str) -> HttpResponse:
        return self.sign(request, pk, policies.approve, said)

    def sign(
        self, request: StaffRequest, pk: int, act: Callable[..., object], said: str, **more: object
    ) -> HttpResponse:
        """Bring a version a step on by `act`, which is also given `more`, and say so; a stale page is shown as such."""
        policy = get_object_or_404(Policy, pk=pk, kind=self.kind)
        seen = RevisionForm(request.POST).seen()
        try:
            act(policy=policy, by=request.user, revision=seen, **more)
        except StaleRow as error:
            return conflict(request, error, resolve_url(self.home))
        except policies.PolicyRefused as error:
            messages.error(request, str(error))
        else:
            messages.success(request, said % {"version": policy.version})
        return redirect(self.version, pk)


def rights(user: Member) -> dict[str, bool]:
    return {
        "may_propose": may(user, Act.PROPOSE_POLICY),
        "may_approve": may(user, Act.APPROVE_POLICY),
    }
