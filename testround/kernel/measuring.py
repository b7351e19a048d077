"""How a body measurement is taken, where the pattern does not say."""

from __future__ import annotations

from testround.kernel.words import gettext as _
from testround.kernel.words import gettext_noop

# Common practice of the trade; every craft book and published size table says the same in its own words. The
# first whose words are all in a measure's key or label is meant, so the longer names come first.
_WAYS: tuple[tuple[tuple[str, ...], str], ...] = (
    (
        ("back waist", "waist length", "nape waist", "neck waist"),
        gettext_noop(
            "From the bone that stands out at the back of the neck, straight down to the natural waist."
        ),
    ),
    (
        ("neck cuff", "neck wrist", "spine wrist"),
        gettext_noop(
            "From the bone at the back of the neck, over the shoulder and along the slightly bent arm to the wrist."
        ),
    ),
    (
        ("cross back", "shoulder width", "back width", "across back"),
        gettext_noop(
            "Across the back from shoulder bone to shoulder bone; somebody else holds the tape best."
        ),
    ),
    (
        ("armhole depth", "armhole"),
        gettext_noop(
            "From the top outer edge of the shoulder bone straight down to the level of the armpit."
        ),
    ),
    (
        ("upper arm", "bicep", "biceps"),
        gettext_noop("Around the widest part of the relaxed upper arm."),
    ),
    (
        ("arm length", "sleeve length", "underarm length", "inner arm"),
        gettext_noop("From the armpit along the inside of the slightly bent arm to the wrist."),
    ),
    (
        ("waist hip", "hip depth"),
        gettext_noop("From the natural waist down the side to the widest part of the hips."),
    ),
    (("waist floor",), gettext_noop("From the natural waist down the side to the floor, without shoes.")),
    (("waist knee",), gettext_noop("From the natural waist down the side to the middle of the knee.")),
    (
        ("inseam", "inside leg"),
        gettext_noop("Along the inside of the leg, from the crotch to the ankle bone."),
    ),
    (
        ("foot length", "foot"),
        gettext_noop("Stand on a sheet of paper; from the heel to the tip of the longest toe."),
    ),
    (("head",), gettext_noop("Around the head above the eyebrows and ears, where a hat sits.")),
    (("wrist",), gettext_noop("Around the wrist, just above the hand.")),
    (("thigh",), gettext_noop("Around the widest part of the thigh.")),
    (
        ("height", "stature"),
        gettext_noop("Without shoes, back to a wall; from the floor to the top of the head."),
    ),
    (
        ("bust", "chest"),
        gettext_noop(
            "Around the fullest part, under the arms, with the tape level and snug but not tight; over what you "
            "will wear beneath."
        ),
    ),
    (
        ("waist",),
        gettext_noop(
            "Around the natural waist, where the body bends to the side; breathe out, do not pull in."
        ),
    ),
    (("hip", "hips", "seat"), gettext_noop("Around the widest part of hips and seat, with the tape level.")),
)
OTHERWISE = gettext_noop("With the tape snug and level; twice, and take the second reading.")


def how_to_measure(key: str, label: str, how: str | None = None) -> str:
    """How to take a body measurement: in the pattern's own words, else as is common practice.

    Parameters
    ----------
    key, label : str
        The measure; what it is, is told by the words in them ("bust", "upper arm").
    how : str, optional
        What the pattern says.
    """
    if how and how.strip():
        return how.strip()
    text = f"{key.replace('_', ' ')} {label.replace('-', ' ')}".lower()
    words = {word.strip("().,:") for word in text.split()}
    for names, way in _WAYS:
        if any(words.issuperset(name.split()) for name in names):
            return _(way)
    return _(OTHERWISE)
