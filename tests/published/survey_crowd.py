"""Five hundred candidates with measured bodies, against the published women's sizes.

Bodies: 500 women of the ANSUR II survey. Sizes: Craft Yarn Council, the middle of each size's limits for bust (read
on restated pages) and hips (from memory, unverified); the nine of the table, and a tenth half way between M and L,
where the crowd is densest. The survey's waist is taken lower than the table's and left out. Sources: see
data/PATTERN_TABLES.md. Wishes, yarns and the order of answers are invented: the survey has none.
"""

from __future__ import annotations

import numpy as np

from tests.kernel.crowds import Document, candidate, document
from tests.published.sources import table

YARNS = ("wool_blue", "wool_red", "wool_grey", "linen_sand", "cotton_sea", "alpaca_moss")
MOST = 6


def sizes() -> dict[str, tuple[float, ...]]:
    """Size to bust and hips, cm."""
    rows = table("body_sizes_women.csv")

    def middle(size: str, measure: str) -> float:
        (row,) = [row for row in rows if (row["size"], row["measure"]) == (size, measure)]
        return round((float(row["cm_low_exact"]) + float(row["cm_high_exact"])) / 2, 2)

    names = list(dict.fromkeys(row["size"] for row in rows))
    found = {size: (middle(size, "chest"), middle(size, "hip")) for size in names}
    between = tuple(round((a + b) / 2, 2) for a, b in zip(found["M"], found["L"], strict=True))
    at = names.index("L")
    order = [*names[:at], "M/L", *names[at:]]
    return {size: between if size == "M/L" else found[size] for size in order}


def crowd(seed: int = 1, *, most: int | None = MOST, own_yarn: float = 0.3, wishes: bool = True) -> Document:
    """The round file: every size needs three, six yarns clothe eight each."""
    rng = np.random.default_rng(seed)
    table_of_sizes = sizes()
    people = []
    for i, row in enumerate(table("ansur2_women_500.csv")):
        bust, hip = int(row["chest_circ_mm"]) / 10, int(row["buttock_circ_mm"]) / 10
        nearest = sorted(table_of_sizes, key=lambda size: abs(table_of_sizes[size][0] - bust))
        liked = rng.permutation(nearest[:3])[: rng.integers(0, 4)].tolist() if wishes else []
        one = candidate(
            f"c{i:03d}",
            None,
            *liked,
            measures={"bust": bust, "hip": hip},
            yarns=[yarn for yarn in YARNS if rng.random() < 0.5],
            answered=f"2027-01-{rng.integers(1, 11):02d}T{rng.integers(0, 24):02d}:00:00Z",
        )
        one["own_yarn"] = bool(rng.random() < own_yarn)
        people.append(one)
    return document(
        *people,
        sizes=table_of_sizes,
        least=dict.fromkeys(table_of_sizes, 3 if most is None else min(3, most)),
        most={} if most is None else dict.fromkeys(table_of_sizes, most),
        yarns=dict.fromkeys(YARNS, 8),
        measures=("bust", "hip"),
    )


def misfit_matrix(file: Document, *, reach: float) -> np.ndarray:
    """Root-mean-square differences in whole millionths of a centimetre; a huge one beyond reach and wishes.

    Shape (candidates, sizes), worked here from the file alone.
    """
    measures = file["pattern"]["measures"]
    names = file["pattern"]["sizes"]
    body = np.array([[m["values"][size] for m in measures] for size in names])
    own = np.array([[person["measures"][m["key"]] for m in measures] for person in file["candidates"]])
    rms = np.sqrt(((own[:, None, :] - body[None]) ** 2).mean(axis=2))
    wished = np.array([[size in person["wishes"] for size in names] for person in file["candidates"]])
    return np.where((rms <= reach) | wished, np.rint(rms * 1e6), 1e12)
