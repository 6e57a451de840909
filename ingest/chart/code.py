"""The chart code: eight characters that name one printed chart and say nothing of the child."""

import re
import secrets
import unicodedata
from collections.abc import Collection

from stdnum.iso7064 import mod_37_36

from ingest.plan.month import Month

# The digits and capitals that print, copies and print-reading programs keep apart. Left out are those
# taken for one another, 0 O, 1 I L, 2 Z, 5 S and 8 B; G, which is taken for 6, and U, for V; and A and E,
# because without vowels no code spells a word that a child would be teased with.
# 21 characters, seven of them by chance: 1.8e9 codes, so that a code cannot be guessed by trying.
ALPHABET = "34679CDFHJKMNPQRTVWXY"
RANDOM_LENGTH = 7

# Any dash that a phone's keyboard or a print-reading program may put between the halves.
_BETWEEN = re.compile(r"[\s\-‐‑‒–—−_.]+")


def new_code(taken: Collection[str] = ()) -> str:
    """A fresh code, `K7QF-3M4P`, that is not among `taken`.

    The last character is the check character of ISO/IEC 7064 MOD 37,36, which lies in the alphabet of
    36; codes whose check character could be mistaken are drawn again.
    """
    while True:
        drawn = "".join(secrets.choice(ALPHABET) for _ in range(RANDOM_LENGTH))
        check = mod_37_36.calc_check_digit(drawn)
        if check in ALPHABET and (code := _shown(drawn + check)) not in taken:
            return code


def parse_code(text: str) -> str | None:
    """The code as it is printed, or None if `text` is none or its check character is wrong.

    Lower case, spaces and a missing hyphen are forgiven; nothing is guessed.
    """
    bare = _BETWEEN.sub("", unicodedata.normalize("NFKC", text)).upper()
    if len(bare) != RANDOM_LENGTH + 1 or not set(bare) <= set(ALPHABET) or not mod_37_36.is_valid(bare):
        return None
    return _shown(bare)


def qr_payload(challenge: str, code: str) -> str:
    """What the QR code says: `2027-10 K7QF-3M4P`, all in its alphanumeric mode (ISO/IEC 18004)."""
    return f"{challenge} {code}"


def parse_payload(text: str) -> tuple[str, str] | None:
    """The challenge and the code, or None if the text is from some other QR code."""
    challenge, _, rest = text.strip().partition(" ")
    code = parse_code(rest)
    try:
        Month.parse(challenge)
    except ValueError:
        return None
    return (challenge, code) if code else None


def _shown(bare: str) -> str:
    return f"{bare[:4]}-{bare[4:]}"
