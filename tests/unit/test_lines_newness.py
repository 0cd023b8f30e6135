"""What is new: by when the port was looked at, and by the numbers."""

import pytest

from drivers.serial_lines.newness import Looks, Numbers

S = 1_000_000_000
LULL_NS = S // 2
SILENCE_NS = 3 * S


def looks(*times_s: float) -> list[bool]:
    """Begun at 0; what each later look says of what it found."""
    made = Looks(LULL_NS)
    made.begin(0)
    return [made.new(round(time_s * S)) for time_s in times_s]


def test_what_comes_first_is_old_and_then_it_is_new() -> None:
    assert looks(0.1, 0.4, 0.5, 0.6) == [False, False, True, True]


def test_a_short_pause_makes_nothing_old_and_a_longer_one_does() -> None:
    assert looks(0.5, 1.0, 1.5) == [True, True, True]
    assert looks(0.5, 1.01) == [True, False]


def test_after_a_pause_what_was_held_back_is_old_for_as_long_again() -> None:
    assert looks(0.5, 30.5, 30.6, 30.99, 31.0) == [True, False, False, False, True]


def test_nothing_is_new_before_the_beginning() -> None:
    assert not Looks(LULL_NS).new(1000 * S)


def heard(*lines: tuple[float, int], numbers: Numbers | None = None) -> list[bool]:
    """What is believed of lines (when, number) at two a second at most 10."""
    made = numbers or Numbers(10, LULL_NS, SILENCE_NS)
    return [made.believed(number, round(time_s * S)) for time_s, number in lines]


def begun(last: int) -> Numbers:
    """Numbers that believe in `last`, heard at 0."""
    made = Numbers(10, LULL_NS, SILENCE_NS)
    lines = ((step - 2, (last + step) % 65536) for step in (-2, -1, 0))
    assert heard(*((time_s + 2, number) for time_s, number in lines), numbers=made)[-1]
    made.left_out = 0
    return made


def test_a_beginning_is_believed_when_it_stands() -> None:
    assert heard((0, 7), (0.2, 8), (0.4, 9), (0.5, 10)) == [False, False, False, True]
    assert heard((0, 7), (1, 8)) == [False, True]  # a slow board: its second line
    assert heard((0, 7), (0, 8), (0, 9), (0, 10)) == [False] * 4  # a lump is no proof


def test_lines_sent_twice_keep_no_beginning_from_standing() -> None:
    twice = [(time_s, number) for time_s, number in ((0, 7), (0.2, 8), (0.4, 9), (0.6, 10))] * 2
    assert heard(*sorted(twice)) == [False] * 6 + [True, False]


def test_a_number_alone_proves_nothing() -> None:
    assert heard((0, 7), (5, 7), (10, 7)) == [False] * 3  # it stands still
    assert heard((0, 7), (1, 3000), (2, 9), (3, 40000)) == [False] * 4


@pytest.mark.parametrize("last", [100, 65534, 65535, 0])
def test_one_on_is_next_across_the_end_of_the_numbers(last: int) -> None:
    numbers = begun(last)
    assert heard((1, (last + 1) % 65536), (1.1, (last + 2) % 65536), numbers=numbers) == [True] * 2
    assert numbers.left_out == 0


def test_left_out_numbers_are_counted() -> None:
    numbers = begun(100)
    assert heard((1, 105), (1.1, 106), (1.2, 109), numbers=numbers) == [True] * 3
    assert numbers.left_out == 4 + 2


def test_further_on_than_can_have_been_sent_is_not_next() -> None:
    """At 10 lines a second, 12 in one second at the most with the two of a lump."""
    assert heard((1, 112), numbers=begun(100)) == [True]
    assert heard((1, 113), numbers=begun(100)) == [False]


def test_the_same_again_is_not_new_and_harms_nothing() -> None:
    assert heard((0.1, 100), (0.2, 101), (0.3, 101), (0.4, 102), numbers=begun(100)) == [
        False,
        True,
        False,
        True,
    ]


def test_old_lines_among_new_ones_are_never_believed() -> None:
    numbers = begun(100)
    told = heard(
        *((step / 10, number) for step in range(1, 50) for number in (100 + step, 95 + step)),
        numbers=numbers,
    )
    assert told == [True, False] * 49


def test_a_lump_of_old_lines_is_not_a_board_that_started_again() -> None:
    numbers = begun(1000)
    lump = [(0.1, number) for number in range(900, 960)]
    assert heard(*lump, (0.2, 1001), numbers=numbers) == [False] * 60 + [True]


def test_a_board_that_starts_again_is_believed_when_it_stands() -> None:
    told = heard((0.2, 0), (0.4, 1), (0.6, 2), (0.8, 3), numbers=begun(1000))
    assert told == [False, False, False, True]


def test_one_line_of_the_old_numbers_undoes_a_beginning() -> None:
    told = heard((0.2, 0), (0.4, 1), (0.6, 1005), (0.8, 2), (1.0, 3), numbers=begun(1000))
    assert told == [False, False, True, False, False]


def test_the_last_old_line_again_undoes_a_beginning_too() -> None:
    told = heard((0.2, 0), (0.4, 1), (0.5, 1000), (0.6, 2), (0.8, 3), (1.1, 4), numbers=begun(1000))
    assert told == [False] * 5 + [True]


def test_after_a_silence_the_next_number_too_must_stand() -> None:
    """A bus that stalled lets go of what the adapter held, and that looks like the next."""
    assert heard((2.9, 101), numbers=begun(100)) == [True]
    assert heard((3.0, 101), numbers=begun(100)) == [False]
    held_back = [(3600.0, number) for number in (101, 102, 103)]
    live = [(3600.1, 9000), (3600.5, 9001), (3600.7, 9002)]
    told = heard(*held_back, *live, numbers=begun(100))
    assert told == [False] * 5 + [True]
