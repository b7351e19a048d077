"""How the findings of a round are worked out, in the words of its report."""

from __future__ import annotations

from testround.kernel.words import gettext_noop

UNSETTLED = gettext_noop(
    "The estimate had not settled when it was stopped: read its figures with care, and look at every "
    "tester's own."
)
METHOD = (
    gettext_noop(
        "Every difference between a finished measurement and its target is split exactly in three: what "
        "the counts that were worked explain (at the stated gauge), what the tester's own blocked gauge "
        "explains, and what is left. Only what is left can be the pattern's."
    ),
    gettext_noop(
        "A swatch is a small reading of a gauge: counts and ruler are each good to about a quarter "
        "(common practice), and the uncertainty is carried through the formulas by the law of propagation"
        " (JCGM 100:2008, 5.1). Repeat readings are averaged, with a floor for how finely a tape can be "
        "read."
    ),
    gettext_noop(
        "What is left is pooled over all testers and dimensions together. One tester's error moves all "
        "the widths or all the lengths of that piece, so it is estimated along with the pattern's own "
        "deviation; a single wild reading is given little weight (errors with Student tails: Lange, "
        "Little and Taylor 1989), and a likely slip such as half for whole, or inches for centimetres, is"
        " asked about and left out."
    ),
    gettext_noop(
        "The stated gauge is compared with the mean of the testers' blocked gauges; how far makers "
        "usually differ helps to say how sure that is, and is worth four testers (the hierarchical normal"
        " model of Gelman et al. 2013, 5.4). Amend means that the best estimate is beyond the tolerance "
        "and the evidence says that it is real; holds means that the 95 % interval lies inside the "
        "tolerance (two one-sided tests, Schuirmann 1987); many verdicts at once are held to a false "
        "discovery rate of 5 % (Benjamini and Hochberg 1995). A proposed number is the smallest change in"
        " whole stitches or rows that keeps the pattern's stitch multiple."
    ),
    gettext_noop(
        "Metres and hours go with the stitches in the parts and are log-normal over makers, pooled "
        "robustly (Algorithm A, ISO 13528:2015). Eight in ten, and what nine in ten will not run out of, "
        "are prediction limits for a new maker with Student's t (NIST/SEMATECH e-Handbook, 4.5.1.2); yarn"
        " is rounded up to whole balls."
    ),
    gettext_noop(
        "Limits: the verdicts are arithmetic on what was reported. They cannot see what nobody measured, "
        "a habit that all testers share, or a fault of fit that measurements do not show. Few testers "
        "mean wide intervals. The tolerances are the designer's, and so is the decision."
    ),
)
