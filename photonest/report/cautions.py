"""The cautions, each kept for the place where it matters. They are common practice, and no substitute for teaching."""

from __future__ import annotations

BEFORE_START = (
    "Face shield, dust mask and hearing protection on.",
    "Loose bark off. It flies, and so does wood with hidden cracks: stand aside.",
    "Screws, nails and grit out of the wood: no photo shows those inside.",
)
EACH_CUT = (
    "Every clamp checked twice. Tool clear of the wood.",
    "Turn the work round by hand, then start slow: the first contact grabs.",
    "Sound changes? Stop and look.",
)
CORE_IN_HAND = "Look the core over in good light. A crack in a wall: do not spin it."
LAST_WORD = (
    "The limits of the lathe's and the cutter's makers, local rules and the advice of a qualified turner "
    "come before anything on this sheet."
)
