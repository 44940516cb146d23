"""Short codes for labels: no letter that is taken for a digit when read aloud or written by hand."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator

from photonest.model import CatalogueError

ALPHABET = "ABCDEFGHJKMNPQRTUVWXY34679"
SHORTEST = 4
LONGEST = 16


def codes_of(sha256: str) -> Iterator[str]:
    """Yield codes for a photo's hash, ever longer: the first one free is taken.

    Examples
    --------
    >>> list(itertools.islice(codes_of("ab" * 32), 2))
    ['HUTK', 'HUTKR']
    """
    number = int(sha256, 16)
    letters = []
    for length in itertools.count(1):
        number, digit = divmod(number, len(ALPHABET))
        letters.append(ALPHABET[digit])
        if length > LONGEST:
            return
        if length >= SHORTEST:
            yield "".join(letters)


def check_code(code: str) -> str:
    """Return a code given by a person; raise CatalogueError if it can't go on a label."""
    if not re.fullmatch(rf"[A-Z0-9][A-Z0-9-]{{0,{LONGEST - 1}}}", code):
        raise CatalogueError(f"{code!r} can't be a code.", f"Use up to {LONGEST} capital letters, digits and hyphens.")
    return code
