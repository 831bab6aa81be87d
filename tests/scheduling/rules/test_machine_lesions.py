"""A life of lesions, procedures and decisions at random: facts of one day never answer for each other.

docs/domain.md "Facts in, plan out", points 8, 12 and 14: only what a row links to a sign, a lesion or a procedure answers it.
"""

from dataclasses import replace

from hypothesis import strategies as st
from hypothesis.stateful import precondition, rule

from scheduling.rules.facts import facts
from scheduling.rules.facts.facts import DecisionFact, Done, LesionFacts, Procedure, UrgentSign
from tests.scheduling.rules.test_machine import LIVES, Life, lived
from tests.scheduling.rules.test_properties import maybe, word


class Lesions(Life):
    @rule(monitoring=maybe(word(facts.Monitoring)), region=maybe(word(facts.Region)))
    def new_lesion(self, monitoring, region):
        number = str(len(self.facts.lesions))
        one = LesionFacts(number, monitoring=monitoring, since=self.today, region=region)
        assert not self.change(lesions=(*self.facts.lesions, one))

    def with_lesion(self, data, **keys):
        lesions = list(self.facts.lesions)
        index = data.draw(st.integers(0, len(lesions) - 1))
        mine, urgent = f"lesion:{lesions[index].id}", keys.pop("urgent", ())
        lesions[index] = replace(lesions[index], urgent=(*lesions[index].urgent, *urgent), **keys)
        moved = self.change(lesions=tuple(lesions))
        assert {key[1] for key, _, _ in moved} <= {mine}
        return mine, moved

    @rule(data=st.data())
    @precondition(lambda self: self.facts.lesions)
    def picture(self, data):
        _, moved = self.with_lesion(data, last_image_on=self.today)
        assert all(key[0] == "lesion_image" for key, _, _ in moved)

    @rule(data=st.data(), state=st.sampled_from(["removed", "gone"]))
    @precondition(lambda self: self.facts.lesions)
    def removal(self, data, state):
        mine, moved = self.with_lesion(data, state=state)
        assert ("lesion_image", mine) not in self.rows()
        # A sign that nobody examined stays urgent when the lesion is out.
        assert all(key[0] == "lesion_image" for key, _, _ in moved)

    @rule(data=st.data(), sign=word(facts.Sign))
    @precondition(lambda self: self.facts.lesions)
    def urgent_sign(self, data, sign):
        mine, moved = self.with_lesion(data, urgent=(UrgentSign(self.new_id(), sign, self.today),))
        assert all(key[0] == "lesion_image" for key, _, _ in moved)
        # Also where somebody examined the lesion earlier the same day: only a link answers.
        assert self.rows()["lesion_examination", mine].urgency == "A"

    @rule(data=st.data())
    @precondition(lambda self: any(one.urgent for one in self.facts.lesions))
    def one_sign_is_examined(self, data):
        """Every other sign of that lesion, of the same day too, still waits for its own examination."""
        lesions = list(self.facts.lesions)
        index = data.draw(st.sampled_from([n for n, one in enumerate(lesions) if one.urgent]))
        signs = list(lesions[index].urgent)
        which = data.draw(st.integers(0, len(signs) - 1))
        signs[which] = replace(signs[which], answered_on=signs[which].answered_on or self.today)
        lesions[index] = replace(lesions[index], urgent=tuple(signs))
        mine = "lesion_examination", f"lesion:{lesions[index].id}"
        moved = self.change(lesions=tuple(lesions))
        assert all(key == mine and old.urgency == "A" for key, old, _ in moved)
        row = self.rows().get(mine)
        open_ = any(one.answered_on is None for one in signs)
        assert (row is not None and row.urgency == "A") == open_ or self.is_decided(lesions[index])

    def is_decided(self, lesion):
        return any(one.lesion == lesion.id for one in self.facts.decisions)

    def new_id(self):
        return f"s{sum(len(one.urgent) for one in self.facts.lesions)}"

    @rule(data=st.data(), decision=word(facts.DecisionWord), months=maybe(st.integers(1, 12)))
    @precondition(lambda self: self.facts.lesions)
    def decided(self, data, decision, months):
        """A signature answers for its lesion alone; what it ends is what an earlier signature had asked for."""
        lesion = data.draw(st.sampled_from([one.id for one in self.facts.lesions]))
        number = len(self.facts.decisions) + 1
        one = DecisionFact(str(number), number, lesion, decision, self.today, months)
        for key, old, _ in self.change(decisions=(*self.facts.decisions, one)):
            assert key[1] == f"lesion:{lesion}" and any(why.of.startswith("decision:") for why in old.reasons)

    @rule(kind=word(facts.ProcedureKind), sutures=maybe(st.booleans()), region=maybe(word(facts.Region)))
    def procedure(self, kind, sutures, region):
        """Two of one day each have duties of their own."""
        number = str(len(self.facts.procedures))
        one = Procedure(number, kind, self.today, region=region, sutures=sutures)
        assert self.change(procedures=(*self.facts.procedures, one)) == []

    @rule(data=st.data())
    @precondition(lambda self: any(key[1].startswith("procedure:") for key in self.rows()))
    def aftercare(self, data):
        """What was done after one procedure says nothing about another, nor about the skin."""
        mine = data.draw(
            st.sampled_from(sorted(key for key in self.rows() if key[1].startswith("procedure:")))
        )
        done = Done(*mine, self.today)
        assert {key for key, _, _ in self.change(done=(*self.facts.done, done))} <= {mine}


test_a_life_of_lesions = lived(Lesions, LIVES // 3)
