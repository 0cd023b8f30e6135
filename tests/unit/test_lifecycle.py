"""The lifecycle's table, over all of it, and against the standard's own diagram."""

import pytest

from rules.lifecycle import SPEAKING, TABLE, Happening, Life, after, can

# The transitions of the state diagram of ANSI/ISA-18.2-2016 and IEC 62682:2014, from
# memory: normal A, unacknowledged B, acknowledged C, returned to normal
# unacknowledged D, shelved G, suppressed by design H, out of service I.
A, B, C, D = Life.NORMAL, Life.UNSEEN, Life.SEEN, Life.OVER_UNSEEN
G, H, I = Life.QUIET, Life.SUPPRESSED, Life.OUT_OF_SERVICE  # noqa: E741  # the standard's letter
STANDARD = {
    (A, Happening.RAISED): B,
    (B, Happening.SEEN): C,
    (B, Happening.OVER): D,
    (C, Happening.OVER): A,
    (C, Happening.AGAIN): C,
    (B, Happening.AGAIN): B,
    (D, Happening.SEEN): A,
    (D, Happening.RAISED): B,
    (B, Happening.QUIET): G,
    (C, Happening.QUIET): G,
    (G, Happening.QUIET_OVER): B,
    (A, Happening.SUPPRESSED): H,
    (B, Happening.SUPPRESSED): H,
    (C, Happening.SUPPRESSED): H,
    (D, Happening.SUPPRESSED): H,
    (H, Happening.SUPPRESSION_OVER): B,
    (H, Happening.OVER): A,
    (A, Happening.OUT_OF_SERVICE): I,
    (B, Happening.OUT_OF_SERVICE): I,
    (C, Happening.OUT_OF_SERVICE): I,
    (I, Happening.IN_SERVICE): A,
    (I, Happening.RAISED): I,
    (I, Happening.OVER): I,
}
# What this project adds or does otherwise; why stands in decision 12.
OWN = {
    # A trip always speaks.
    **{(life, Happening.TRIPPED): B for life in Life},
    (B, Happening.EASED): B,
    (C, Happening.EASED): C,
    (G, Happening.EASED): G,
    # Quiet is for this time, not for the next.
    (G, Happening.OVER): A,
    (G, Happening.QUIET): G,
    (G, Happening.GOING): G,
    (G, Happening.AGAIN): G,
    (G, Happening.SUPPRESSED): H,
    (G, Happening.OUT_OF_SERVICE): I,
    (H, Happening.OUT_OF_SERVICE): I,
    (I, Happening.SUPPRESSED): I,
    # Going says that it was seen, and more.
    (B, Happening.GOING): C,
    (C, Happening.GOING): C,
    # What is of lesser weight need not be seen once it is over.
    (B, Happening.LAPSED): A,
    (D, Happening.LAPSED): A,
    # A trip of a hazard out of service speaks, and goes on speaking when it is back.
    (B, Happening.IN_SERVICE): B,
    (C, Happening.IN_SERVICE): C,
    (D, Happening.IN_SERVICE): D,
    (G, Happening.IN_SERVICE): G,
}
EVERY_PAIR = [(life, happening) for life in Life for happening in Happening]


def test_seven_states_and_every_pair_in_the_table():
    assert len(Life) == 7
    assert sorted(TABLE) == sorted(EVERY_PAIR)


@pytest.mark.parametrize(("life", "happening"), EVERY_PAIR, ids=lambda part: part.value)
def test_each_pair_is_as_the_standard_or_as_decided(life, happening):
    assert not set(STANDARD) & set(OWN)
    wanted = (STANDARD | OWN).get((life, happening))
    assert TABLE[life, happening] is wanted
    assert can(life, happening) is (wanted is not None)
    assert after(life, happening) is (wanted or life), "what cannot happen changes nothing"


def test_every_state_can_be_come_to_and_left():
    reached = {Life.NORMAL}
    for _ in Life:
        reached |= {into for (life, _), into in TABLE.items() if life in reached and into}
    assert reached == set(Life)
    for life in set(Life) - {Life.NORMAL}:
        assert any(into not in (None, life) for (at, _), into in TABLE.items() if at is life)


def test_a_trip_speaks_wherever_it_comes_from():
    assert {after(life, Happening.TRIPPED) for life in Life} == {Life.UNSEEN}
    assert Life.UNSEEN in SPEAKING
    silent = {Life.SUPPRESSED, Life.OUT_OF_SERVICE, Life.NORMAL, Life.OVER_UNSEEN}
    assert silent == set(Life) - SPEAKING
