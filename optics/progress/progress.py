"""One's own progress: skills, not scores, and what to try next.

It is kept in a small file that a learner can delete (`optics.progress.file`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from math import isfinite
from typing import Any

import numpy as np

from optics.instrument.repeats import Spread, spread
from optics.lens.power import Power
from optics.marking.marks import SKILLS, PairMarks, of_a_sphere
from optics.specimens.briefs import DIFFICULTIES, STYLES

DONE, ONCE, TRY_AGAIN, NOT_YET = "done", "right once", "try again", "not yet"
IN_A_ROW = 2
"""So many pairs in a row are needed to call a skill done, or to go a step up or down (a judgement)."""
FEW = 0.5
"""Below this share of skills right a pair was too hard."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One pair that was read.

    Parameters
    ----------
    when : str
        Date and time, ISO 8601.
    style : str
        Lens style of the pair.
    difficulty : int
        1 to 5.
    seed : int
        With style and difficulty it names the pair, which can be read again.
    skills : dict of str to bool
        Whether each skill that the pair asked for showed.
    differences : dict of str to (float, float, float)
        By eye, written less true power as a power vector (M, J0, J45), dioptres.
    slips : tuple of str
        Names of the habits that explained what was wrong.
    """

    when: str
    style: str
    difficulty: int
    seed: int
    skills: dict[str, bool]
    differences: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    slips: tuple[str, ...] = ()

    @property
    def share(self) -> float:
        """Part of the skills that showed, 0 to 1."""
        return sum(self.skills.values()) / len(self.skills)

    @classmethod
    def from_plain(cls, values: Any) -> Entry:
        """An entry from plain values; ValueError, KeyError or TypeError where it is none."""
        entry = cls(
            when=datetime.fromisoformat(values["when"]).isoformat(),
            style=values["style"],
            difficulty=int(values["difficulty"]),
            seed=int(values["seed"]),
            skills={str(skill): bool(good) for skill, good in values["skills"].items()},
            differences={
                eye: (float(m), float(j0), float(j45))
                for eye, (m, j0, j45) in values.get("differences", {}).items()
            },
            slips=tuple(map(str, values.get("slips", ()))),
        )
        numbers = [value for vector in entry.differences.values() for value in vector]
        if (
            entry.style not in STYLES
            or entry.difficulty not in DIFFICULTIES
            or not entry.skills
            or not set(entry.differences) <= {"R", "L"}
            or not all(map(isfinite, numbers))
        ):
            raise ValueError("an entry of no known pair")
        return entry


MOST_OF_IT = 0.8
"""From this share of its marks on a skill is called done in a chapter (a judgement)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """A chapter as it was last marked.

    Parameters
    ----------
    when : str
        Date and time, ISO 8601.
    skills : dict of str to (float, float)
        Marks got and possible, of what may be told.
    slips : tuple of str
        Names of the habits that explained what was wrong.
    """

    when: str
    skills: dict[str, tuple[float, float]]
    slips: tuple[str, ...] = ()

    @property
    def states(self) -> dict[str, str]:
        """Each skill as done or to be tried again."""
        return {
            skill: DONE if got >= MOST_OF_IT * of - 1e-9 else TRY_AGAIN
            for skill, (got, of) in self.skills.items()
        }

    @classmethod
    def from_plain(cls, values: Any) -> Chapter:
        """A chapter from plain values; ValueError, KeyError or TypeError where it is none."""
        skills = {str(skill): (float(got), float(of)) for skill, (got, of) in values["skills"].items()}
        if not skills or not all(isfinite(got) and isfinite(of) and of > 0 for got, of in skills.values()):
            raise ValueError("a chapter without marks")
        return cls(
            when=datetime.fromisoformat(values["when"]).isoformat(),
            skills=skills,
            slips=tuple(map(str, values.get("slips", ()))),
        )


@dataclass(frozen=True, slots=True)
class Progress:
    """All pairs that were read, oldest first, and the chapters that were marked.

    Parameters
    ----------
    entries : tuple of Entry
        One for each pair.
    chapters : dict of str to Chapter
        By the chapter's name, each as it was last marked.
    """

    entries: tuple[Entry, ...] = ()
    chapters: dict[str, Chapter] = field(default_factory=dict)

    def of(self, style: str | None = None) -> tuple[Entry, ...]:
        """The entries of one style, or all."""
        return tuple(entry for entry in self.entries if style in (None, entry.style))

    def skills(self, style: str | None = None) -> dict[str, str]:
        """Each skill with where it stands.

        Parameters
        ----------
        style : str, optional
            One lens style alone.

        Returns
        -------
        dict of str to {"done", "right once", "try again", "not yet"}
            "done": right on the last two pairs that asked for it; "right once": on the
            last one; "not yet": never asked for; "try again": wrong on the last one.
        """
        states = {}
        for skill in SKILLS:
            last = [entry.skills[skill] for entry in self.of(style) if skill in entry.skills][-IN_A_ROW:]
            if not last:
                states[skill] = NOT_YET
            elif not last[-1]:
                states[skill] = TRY_AGAIN
            else:
                states[skill] = DONE if len(last) == IN_A_ROW and all(last) else ONCE
        return states

    def habits(self) -> dict[str, int]:
        """How often each habit was met on the last ten pairs, the most frequent first."""
        counts: dict[str, int] = {}
        for entry in self.entries[-10:]:
            for name in entry.slips:
                counts[name] = counts.get(name, 0) + 1
        return dict(sorted(counts.items(), key=lambda each: -each[1]))

    def differences(self) -> tuple[tuple[str, str, Power], ...]:
        """Date, eye and written-less-true power of every lens, oldest first, to be drawn over time."""
        return tuple(
            (entry.when, eye, Power(np.array(entry.differences[eye])))
            for entry in self.entries
            for eye in "RL"
            if eye in entry.differences
        )


def skills_met(skills: Iterable[str]) -> tuple[str, ...]:
    """The skills of an answer that a learner has met in it.

    A whole line without an axis is a sphere: its marks for the cylinder only say that
    none was invented.

    Examples
    --------
    >>> skills_met(["sphere", "cylinder", "notation"]), skills_met(["cylinder"])
    (('sphere', 'notation'), ('cylinder',))
    """
    met = tuple(skills)
    return tuple(skill for skill in met if not (skill == "cylinder" and of_a_sphere(met)))


def entry_of(
    marks: PairMarks,
    *,
    style: str,
    difficulty: int,
    seed: int,
    slips: Iterable[str] = (),
) -> Entry:
    """The entry for a pair that was read just now.

    Parameters
    ----------
    marks : PairMarks
        How it went.
    style, difficulty, seed
        Which pair it was.
    slips : iterable of str
        Names of the habits that explained what was wrong.
    """
    vectors = {eye: power.vector.tolist() for eye, power in marks.differences.items()}
    return Entry(
        when=datetime.now(UTC).isoformat(timespec="seconds"),
        style=style,
        difficulty=difficulty,
        seed=seed,
        skills={skill: skill not in marks.marks.missed for skill in skills_met(marks.marks.skills)},
        differences={eye: tuple(round(value, 4) for value in vector) for eye, vector in vectors.items()},
        slips=tuple(slips),
    )


def next_difficulty(progress: Progress, style: str) -> int:
    """How hard the next pair of a style should be, following the learner.

    Parameters
    ----------
    progress : Progress
        What was read so far.
    style : str
        Lens style of the next pair.

    Returns
    -------
    int
        1 to begin with; one more after two pairs in a row with every skill right;
        one less after two in a row with fewer than half of them; else the same.
    """
    entries = progress.of(style)
    if not entries:
        return DIFFICULTIES[0]
    now = entries[-1].difficulty
    last = [entry for entry in entries[-IN_A_ROW:] if entry.difficulty == now]
    if len(last) < IN_A_ROW:
        return now
    if all(entry.share == 1.0 for entry in last):
        return min(now + 1, DIFFICULTIES[-1])
    if all(entry.share < FEW for entry in last):
        return max(now - 1, DIFFICULTIES[0])
    return now


def own_spread(progress: Progress) -> Spread | None:
    """One's own bias and scatter: mean and spread of written-less-true powers; none with fewer than two lenses."""
    powers = [power for _, _, power in progress.differences()]
    return spread(powers) if len(powers) >= 2 else None
