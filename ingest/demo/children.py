"""Children for every severity: their pens, how steadily they write, what they get wrong.

`ingest.demo.diary.any_habits` and `ingest.demo.fill.any_writer` make the demo's children, who are kind to the
reader. Here are all sorts. How often is common practice, no source.
"""

from dataclasses import dataclass, replace

import numpy as np

from ingest.demo.diary import Habits, any_habits
from ingest.demo.fill import Writer, any_writer
from ingest.demo.hands import Hand
from ingest.demo.ink import faint_pencil
from ingest.demo.letters import with_letters
from ingest.demo.mess import TIDY, Mess


@dataclass(frozen=True, slots=True)
class Sort:
    """How hard a class of children is to read. Chances 0..1, spans from..to.

    faint: chance of a pencil hardly pressed; least_dark: what it takes of the light at least.
    reach: mm that a number may leave its box. big, small: chance of a hand that fills or hardly uses the box.
    shake: of the strokes. ghost: what an eraser leaves. mishaps: of a box, times what the child has anyway.
    units: chance that a child writes units otherwise than `min`. mess: of a usual child; some have none, some
    three times as much.
    """

    faint: float
    least_dark: float
    reach: float
    big: float
    small: float
    shake: tuple[float, float]
    ghost: tuple[float, float]
    mishaps: float
    units: float
    mess: Mess


SORTS = {
    "gentle": Sort(0.0, 0.4, 0.6, 0.0, 0.0, (0.0, 0.0), (0.03, 0.1), 0.5, 0.0, TIDY),
    "ordinary": Sort(
        faint=0.1,
        least_dark=0.3,
        reach=2.0,
        big=0.05,
        small=0.05,
        shake=(0.0, 0.025),
        ghost=(0.04, 0.2),
        mishaps=1.0,
        units=0.3,
        mess=Mess(0.003, 0.003, 0.002, 0.003, 0.003, 0.005, 0.004),
    ),
    "hard": Sort(
        faint=0.3,
        least_dark=0.2,
        reach=4.0,
        big=0.15,
        small=0.15,
        shake=(0.0, 0.05),
        ghost=(0.05, 0.35),
        mishaps=2.0,
        units=0.6,
        mess=Mess(0.015, 0.015, 0.01, 0.012, 0.012, 0.02, 0.02),
    ),
}


def any_child(hand: Hand, severity: str, rng: np.random.Generator) -> tuple[Writer, Habits]:
    """A child who writes with `hand`, of the sort named. Raises KeyError for a name not in SORTS."""
    sort = SORTS[severity]
    writer = any_writer(with_letters(hand) if sort.units else hand, rng)
    habits = any_habits(rng)
    if rng.random() < sort.faint:
        writer = replace(writer, pen=faint_pencil(rng, sort.least_dark))
    manner = replace(
        writer.manner,
        reach=sort.reach,
        shake=float(rng.uniform(*sort.shake)),
    )
    size = rng.random()
    if size < sort.big:
        manner = replace(manner, height=float(rng.uniform(0.9, 1.08)))
    elif size < sort.big + sort.small:
        manner = replace(manner, height=float(rng.uniform(0.28, 0.42)))
    if rng.random() < sort.units:
        unit = str(rng.choice([" min", "min", "m", " m", " mins", "'"], p=[0.3, 0.25, 0.2, 0.1, 0.1, 0.05]))
        habits = replace(habits, unit=unit, hour=str(rng.choice([":", "h", " hr "], p=[0.6, 0.2, 0.2])))
    mess = sort.mess.times(float(rng.choice([0.0, 1.0, 3.0], p=[0.4, 0.4, 0.2])))
    habits = replace(habits, mishaps=min(0.3, habits.mishaps * sort.mishaps), mess=mess)
    return replace(writer, manner=manner, ghost=sort.ghost), habits
