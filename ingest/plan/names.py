"""Whether two names may be one child's."""

import unicodedata

from rapidfuzz import fuzz

# RapidFuzz scores, 0 to 100. Measured by hand on spellings of one name and on neighbours in class lists:
# an assumption, no source.
ALIKE_WHOLE = 80.0
ALIKE_FIRST = 75.0


def is_same_child(before: str, now: str) -> bool:
    """Whether a name that was put right, or changed, may still mean the same child.

    A slip mended, parts in another order, another family name, a short form: yes. Another first name
    and another whole: no, the student id has probably passed to another child.
    """
    one, other = _folded(before), _folded(now)
    if not one or not other or fuzz.token_sort_ratio(one, other) >= ALIKE_WHOLE:
        return True
    first, second = one.split()[0], other.split()[0]
    return first.startswith(second) or second.startswith(first) or fuzz.ratio(first, second) >= ALIKE_FIRST


def _folded(name: str) -> str:
    """Lower case, without accents."""
    apart = unicodedata.normalize("NFKD", name.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter)).strip()
