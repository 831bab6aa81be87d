import pytest

from clinic.wording import alternatives


@pytest.mark.parametrize(
    ("names", "told"),
    [
        (["white"], "white"),
        (["white", "grey"], "white or grey"),
        (["white", "grey", "black"], "white, grey or black"),
    ],
)
def test_a_choice_is_joined_by_or(names, told):
    assert alternatives(names) == told
