"""The basic alphabet of short messages, and the room a text takes in one."""

import pytest

from rules.alphabet import BASIC, EXTENSION, basic, room


def test_the_tables_are_whole():
    """3GPP TS 23.038, from memory: 128 places less the escape; ten in the extension table."""
    assert len(BASIC) == 127
    assert len(EXTENSION) == 10
    assert not BASIC & EXTENSION


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Ada, bay 2 @ 08:00", "Ada, bay 2 @ 08:00"),
        ("Ångström löst Ñandú ß", "Ångström löst Ñandu ß"),  # ú has no place there, Å ö ñ have
        ("148 °C", "148 ?C"),
        ("½ psi", "? psi"),  # "12 psi" would be a lie
        ("{a} [b]", "{a} [b]"),
        ("çedilla Çelik", "cedilla Çelik"),  # only the capital has a place
        ("火", "?"),
    ],
)
def test_what_people_typed_is_put_into_the_basic_alphabet(text, shown):
    assert basic(text) == shown
    assert set(shown) <= BASIC | EXTENSION


@pytest.mark.parametrize(("text", "takes"), [("", 0), ("BAY 2", 5), ("[2]", 5), ("10 €", 5)])
def test_a_character_of_the_extension_table_takes_two(text, takes):
    assert room(text) == takes
