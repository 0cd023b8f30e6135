"""The basic alphabet of short messages: what is in it, and how much room a text takes.

One character outside it, a degree sign for instance, would turn the whole short
message into one of 70 characters, and an order would be cut off.

Source:
    3GPP TS 23.038, 6.2.1, default alphabet and its extension table, of which each
    character takes the room of two; 3GPP TS 23.040: 160 in one message. The
    tables are from memory.
"""

import unicodedata

SHORT_MAX = 160
BASIC = frozenset(
    "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?"
    "¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà"
)
EXTENSION = frozenset("\f^{}\\[~]|€")
UNKNOWN = "?"


def room(text: str) -> int:
    """How many of the 160 characters a text takes.

    Args:
        text: of the basic alphabet; what is outside it is counted as one.

    Source:
        3GPP TS 23.038, 6.2.1.1: a character of the extension table takes two.
    """
    return len(text) + sum(character in EXTENSION for character in text)


def basic(text: str) -> str:
    """The text in the basic alphabet: accents it does not have go, the rest turns into "?".

    For what people typed: names, reasons, a rig's title.

    Source:
        Unicode Standard Annex 15: NFD takes letters and accents apart, and leaves "½" whole.
    """
    if BASIC.issuperset(text):
        return text
    return "".join(_basic(character) for character in text)


def _basic(character: str) -> str:
    if character in BASIC or character in EXTENSION:
        return character
    bare = "".join(part for part in unicodedata.normalize("NFD", character) if part in BASIC)
    return bare or UNKNOWN
