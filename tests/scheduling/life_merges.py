"""Acts of the random lives: two records become one, and two again, at any moment of any life."""

from hypothesis import strategies as st
from hypothesis.stateful import rule

from clinic.duties import proposals
from clinic.merging import merging, pairs, unmerging
from clinic.models import Merge, Patient
from clinic.people.longer_waits import MakesLonger
from tests import build
from tests.scheduling.life_acts import ANY, WORDS, one_of


class Records:
    """Somebody is registered twice; two members make one record of it, and two again."""

    @rule(known=ANY)
    def somebody_is_registered_again(self, known):
        if Patient.objects.count() < 5:
            one = one_of(Patient.objects.order_by("pk"), known)
            names = {"given_name": one.given_name, "family_name": one.family_name, "born": one.born}
            self.try_to(lambda: build.patient(**names, phone=one.number if known % 2 else ""))

    @rule(which=ANY, other=ANY, who=ANY, reason=WORDS, at_once=st.sampled_from([True, True, False]))
    def two_records_become_one(self, which, other, who, reason, at_once):
        people = list(Patient.objects.filter(merged_into=None).order_by("pk"))
        one, rest = people[which % len(people)], [row for row in people if row != people[which % len(people)]]
        if rest:
            by, confirms = self._two(who) if at_once else (self.by(who), None)
            said = {"one": one, "other": one_of(rest, other), "reason": reason}
            self.try_to(self._merge, by=by, confirms=confirms, **said)

    def _two(self, who):
        """A dermatologist, who may sign for a later day, and somebody else."""
        doctor = self.doctors[who % len(self.doctors)]
        return doctor, one_of([member for member in self.members if member != doctor], who)

    def _merge(self, one, other, by, reason, confirms):
        pair = pairs.pair_by_hand(patient=one, other=other, by=by)
        pair.refresh_from_db()
        said = {"pair": pair, "survivor": one, "by": by, "reason": reason, "revision": pair.revision}
        self._answer(signed(merging.propose, **said), confirms)

    @rule(which=ANY, who=ANY, reason=WORDS, at_once=st.sampled_from([True, True, False]))
    def one_record_becomes_two(self, which, who, reason, at_once):
        done = one_of(Merge.objects.filter(undone__isnull=True).select_related("survivor", "gone"), which)
        if done is not None:
            by, confirms = self._two(who) if at_once else (self.by(who), None)
            self.try_to(self._part, done=done, by=by, reason=reason, confirms=confirms)

    def _part(self, done, by, reason, confirms):
        self._answer(signed(unmerging.propose, merge=done, by=by, reason=reason), confirms)

    def _answer(self, asked, confirms):
        if confirms is not None:
            proposals.confirm(proposal=asked, by=confirms, revision=asked.revision)


def signed(propose, **said):
    """Whoever sees that somebody waits longer looks at the days, and signs where that may be."""
    try:
        return propose(**said)
    except MakesLonger as error:
        again = said | ({"revision": said["pair"].revision} if "pair" in said else {})
        return propose(**again, signed=error.signature)
