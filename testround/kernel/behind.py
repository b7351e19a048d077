"""The figures behind the verdicts on finished sizes, for a technical editor who wants to check them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from testround.kernel.discrepancy import Discrepancies
from testround.kernel.estimate import benjamini_hochberg, t_quantile, two_sided_p
from testround.kernel.pool import TAILS, Pooled
from testround.kernel.verdict import Judged


@dataclass(frozen=True, slots=True)
class ShapeBehind:
    """A way in which a dimension was found to deviate: "shift", "growth" or "some", and the sizes concerned."""

    kind: str
    sizes: tuple[str | None, ...]


@dataclass(frozen=True, slots=True)
class DimensionBehind:
    """What one dimension was judged by.

    Attributes
    ----------
    dimension : str
    u : float
        Standard uncertainty of the finding's estimate, cm.
    df : float
        Degrees of freedom of its interval.
    q : float
        Its p value adjusted for all dimensions of the round (Benjamini and Hochberg 1995).
    kappa : float
        Spread of measurements beyond what readings explain, cm.
    shapes : tuple of ShapeBehind
    gained : float or None
        Twice the log of the odds for the shapes taken in, or, below nought, for the nearest one that was not; None
        where none could be tried.
    """

    dimension: str
    u: float
    df: float
    q: float
    kappa: float
    shapes: tuple[ShapeBehind, ...]
    gained: float | None


@dataclass(frozen=True, slots=True)
class SpreadBehind:
    """One axis of a gauge, relative: how far garments lie from swatches, and how testers differ in that.

    ``tau`` is the spread between testers, ``wobble`` with ``u_wobble`` what all have in common.
    """

    gauge: str
    axis: str
    tau: float
    wobble: float
    u_wobble: float


@dataclass(frozen=True, slots=True)
class Behind:
    """The figures behind a round's verdicts on finished sizes.

    ``believed`` has a row per tester in the order of ``testers`` and an entry per dimension in the order of
    ``dimensions``: from 0 to 1, how far a measurement was believed; None where there is none or it was set aside.
    """

    testers: tuple[str, ...] = ()
    keys: tuple[str, ...] = ()
    believed: tuple[tuple[float | None, ...], ...] = ()
    dimensions: tuple[DimensionBehind, ...] = ()
    spreads: tuple[SpreadBehind, ...] = ()

    def dimension(self, key: str) -> DimensionBehind | None:
        return next((one for one in self.dimensions if one.dimension == key), None)

    def belief(self) -> dict[tuple[str, str], float]:
        """How far each measurement that was pooled was believed, by tester and dimension."""
        return {
            (tester, key): weight
            for tester, row in zip(self.testers, self.believed, strict=True)
            for key, weight in zip(self.keys, row, strict=True)
            if weight is not None
        }


def behind(
    found: Discrepancies, pooled: Pooled, judged: Sequence[Judged], sizes: Sequence[str | None]
) -> Behind:
    """Gather the figures of an analysis.

    Parameters
    ----------
    found : Discrepancies
    pooled : Pooled
    judged : sequence of Judged
    sizes : sequence of str or None
        The pattern's, in order; one None for a made-to-measure pattern.
    """
    df = [float(pooled.df[one.dimension]) for one in judged]
    half = [(one.high - one.low) / 2 for one in judged]
    u = [h / t_quantile(0.975, f) for h, f in zip(half, df, strict=True)]
    p = [two_sided_p(one.estimate / max(w, 1e-12), f) for one, w, f in zip(judged, u, df, strict=True)]
    q = benjamini_hochberg(np.minimum(np.array(p), 1.0)).tolist() if p else []
    return Behind(
        testers=found.testers,
        keys=found.dimensions,
        # One that lies just where it was foretold has the weight (ν + 1) / ν.
        believed=_or_none(pooled.weights * TAILS / (TAILS + 1)),
        dimensions=tuple(
            DimensionBehind(
                dimension=found.dimensions[one.dimension],
                u=u[j],
                df=df[j],
                q=float(q[j]),
                kappa=float(pooled.kappa[one.dimension]),
                shapes=tuple(
                    ShapeBehind(shape.kind, tuple(sizes[s] for s in shape.sizes))
                    for shape in pooled.shapes
                    if shape.dimension == one.dimension
                ),
                gained=_gained(pooled, one.dimension),
            )
            for j, one in enumerate(judged)
        ),
        spreads=tuple(
            SpreadBehind(gauge, axis, float(tau), float(wobble), float(u_wobble))
            for (gauge, axis), tau, wobble, u_wobble in zip(
                found.axes, pooled.tau, pooled.wobble, pooled.u_wobble, strict=True
            )
        ),
    )


def _gained(pooled: Pooled, d: int) -> float | None:
    gained = float(pooled.evidence[d])
    return gained if np.isfinite(gained) else None


def _or_none(table: NDArray[np.float64]) -> tuple[tuple[float | None, ...], ...]:
    known = np.isfinite(table)
    return tuple(
        tuple(value if there else None for value, there in zip(row, seen, strict=True))
        for row, seen in zip(np.round(table, 4).tolist(), known.tolist(), strict=True)
    )
