"""Sealed pairs: which unknown pair lies before which learner.

An instrument must know the lens to show it, so a released chapter carries its
pairs. They are sealed against a glance, *not* against a determined programmer;
a real pair on a real bench is the real test.

A chapter's folder holds `pairs.json`, the brief of each pair by its letter. The
release writes `pairs.sealed` beside it: seeds drawn from the intake's secret, so
that a new secret gives a new set. Without a sealed file (self-study, or the
chapter's source) a public set is used.
"""

from __future__ import annotations

import base64
import hmac
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np

from optics.errors import OpticsError
from optics.instrument.focimeter import an_eye
from optics.instrument.neutralizing import neutralizer
from optics.specimens.random import seed_from
from optics.specimens.specimen import Brief, Specimen, make

BRIEFS = "pairs.json"
SEALED = "pairs.sealed"
SELF_STUDY = "self-study"
VARIANTS = 60
"""Pairs of one letter in an intake: so many that neighbours seldom have the same one before them."""
# Raised whenever `make` gives other pairs from the same seed, because a learner
# and an instructor must mean the same pair.
MAKER = 6


# The checks of one notebook ask for the same few pairs again and again.
_once = lru_cache(maxsize=64)(make)


@dataclass(frozen=True, slots=True, kw_only=True)
class PairBox:
    """The unknown pairs of one chapter.

    Parameters
    ----------
    intake : str
        Name of the intake they were made for.
    briefs : dict of str to Brief
        By letter.
    seeds : dict of str to list of int
        By letter, one a variant.
    people : dict of str to str
        For each way in which somebody of the class list may write their name, whose it is;
        both as `mark_of` makes them, so that the box is no list of the class.
    points : dict of str to float
        By the name of its check, the points of each question that are not as the chapter has them.
    """

    intake: str
    briefs: dict[str, Brief]
    seeds: dict[str, list[int]]
    people: dict[str, str] = field(default_factory=dict)
    points: dict[str, float] = field(default_factory=dict)

    def pair(self, letter: str, learner: str) -> Specimen:
        """The pair with this letter that lies before this learner.

        Parameters
        ----------
        letter : str
            "A", "B", ...
        learner : str
            The learner's name or number; capitals and spaces do not matter.
        """
        if letter not in self.briefs:
            raise OpticsError(
                f'There is no pair "{letter}" in this chapter.',
                f"The chapter's pairs are {', '.join(sorted(self.briefs)) or 'none'}.",
                "Check the letter.",
            )
        seeds = self.seeds[letter]
        return _once(self.briefs[letter], seeds[self.variant(letter, learner)])

    def bench_seed(self, letter: str, learner: str) -> int:
        """Decides how the bench was left on which this pair lies before this learner."""
        return seed_from(self.intake, letter, self.variant(letter, learner)) % 2**31

    def eye_setting(self, letter: str, learner: str) -> float:
        """Eyepiece dial at which the reticle of that bench is sharp to this learner, dioptres."""
        return an_eye(np.random.default_rng(self.bench_seed(letter, learner)))

    def shown(self, what: str, letter: str, learner: str, eye: str = "R") -> float:
        """What the bench shows of this pair to a careful hand, dioptres.

        Parameters
        ----------
        what : {"sphere lines", "cylinder lines", "zero", "eyepiece", "trial lens"}
            A drum reading of a lens, coming from plus; the drum without a lens; the
            eyepiece dial; or the trial sphere that stops a lens in the hand.
        letter, learner
            As for `pair`.
        eye : {"R", "L"}
            The lens.
        """
        if what == "eyepiece":
            return self.eye_setting(letter, learner)
        pair = self.pair(letter, learner)
        if what == "trial lens":
            return float(neutralizer(pair.spectacles.mounted(eye).lens).mean)
        higher, _, lower, _ = (float(each) for each in pair.power(eye).principal())
        return pair.zero_error + {"zero": 0.0, "sphere lines": higher, "cylinder lines": lower}[what]

    def variant(self, letter: str, learner: str) -> int:
        """Which variant of a pair this learner gets, counted from 0."""
        who = self.whose(learner) or _squeezed(learner)
        return seed_from(self.intake, letter, who) % len(self.seeds[letter])

    def whose(self, typed: str) -> str:
        """The listed person whose name or number was typed; "" where it is nobody's."""
        return self.people.get(mark_of(self.intake, typed), "")


def _squeezed(name: str) -> str:
    return "".join(name.split()).casefold()


def mark_of(intake: str, name: str) -> str:
    """What a name or number is known by in the pair box of an intake."""
    return sha256(f"{intake}/{_squeezed(name)}".encode("utf-8", "replace")).hexdigest()[:12]


def briefs_in(folder: Path) -> dict[str, Brief]:
    """The briefs of a chapter's pairs by their letters, from its source folder."""
    path = folder / BRIEFS
    if not path.is_file():
        return {}
    return {
        letter: Brief.from_plain(values) for letter, values in json.loads(path.read_text("utf-8")).items()
    }


def _box(folder: Path, intake: str, secret: str, variants: int) -> PairBox:
    briefs = briefs_in(folder)

    def seed(letter: str, number: int) -> int:
        # Keyed, so that nobody finds the secret, and the next set, from one set of seeds.
        digest = hmac.new(secret.encode(), f"{folder.name}/{letter}/{number}".encode(), sha256).digest()
        return int.from_bytes(digest[:6], "big")

    return PairBox(
        intake=intake,
        briefs=briefs,
        seeds={letter: [seed(letter, number) for number in range(variants)] for letter in briefs},
    )


def _veil(data: bytes, intake: str) -> bytes:
    stream = b"".join(sha256(f"{intake}/{block}".encode()).digest() for block in range(len(data) // 32 + 1))
    return bytes(a ^ b for a, b in zip(data, stream, strict=False))


def seal(folder: Path, **box: Any) -> Path | None:
    """Write a chapter's pairs, as `sealed` gives them, beside it; None where it has none."""
    text = sealed(folder, **box)
    path = Path(folder) / SEALED
    if text:
        path.write_text(text, "utf-8")
    return path if text else None


def sealed(
    folder: Path,
    *,
    intake: str,
    secret: str,
    variants: int = VARIANTS,
    people: Mapping[str, str] | None = None,
    points: Mapping[str, float] | None = None,
    tables: Mapping[str, str] | None = None,
) -> str:
    """A chapter's pairs for one intake, sealed.

    Parameters
    ----------
    folder : Path
        The chapter's folder, holding `pairs.json`.
    intake : str
        Name of the intake, shown to learners.
    secret : str
        Kept by the instructor; another secret gives other pairs.
    variants : int
        How many different pairs share one letter.
    people : mapping of str to str, optional
        Who may write their name in which ways, as in `PairBox`.
    points : mapping of str to float, optional
        As in `PairBox`.
    tables : mapping of str to str, optional
        By letter the table of tolerances a pair is made for, instead of its brief's.

    Returns
    -------
    str
        What `pairs.sealed` is to hold; "" where the chapter has no pairs and its own points.
    """
    box = _box(Path(folder), intake, secret, variants)
    if not box.briefs and not points:
        return ""
    for letter, table in (tables or {}).items():
        box.briefs[letter] = replace(box.briefs[letter], table=table)
    inside = {
        "maker": MAKER,
        "briefs": {letter: brief.to_plain() for letter, brief in box.briefs.items()},
        "seeds": box.seeds,
        "people": dict(people or {}),
    } | ({"points": dict(points)} if points else {})
    veiled = _veil(zlib.compress(json.dumps(inside, sort_keys=True).encode()), intake)
    outside = {
        "what": "Unknown pairs for the bench. Sealed against a glance; reading it here teaches nothing.",
        "intake": intake,
        "pairs": base64.b64encode(veiled).decode(),
    }
    return json.dumps(outside, indent=1) + "\n"


def open_pairs(folder: Path | str = ".") -> PairBox:
    """The unknown pairs of the chapter in this folder.

    Raises
    ------
    OpticsError
        Where the sealed file is damaged, or was made by another version.
    """
    folder = Path(folder).resolve()
    path = folder / SEALED
    if not path.is_file():
        return _box(folder, SELF_STUDY, SELF_STUDY, VARIANTS)
    try:
        outside = json.loads(path.read_text("utf-8"))
        inside = json.loads(zlib.decompress(_veil(base64.b64decode(outside["pairs"]), outside["intake"])))
        maker, briefs, seeds = inside["maker"], inside["briefs"], inside["seeds"]
        people, points = dict(inside.get("people", {})), dict(inside.get("points", {}))
    except (ValueError, KeyError, TypeError, zlib.error):
        raise OpticsError(
            f"The file {SEALED} in this folder is damaged.",
            "It must be the one handed out with the chapter.",
            "Copy it again from the chapter you were given.",
        ) from None
    if maker != MAKER:
        raise OpticsError(
            f"The pairs of this chapter were made by version {maker} of the pair maker; this is version {MAKER}.",
            "Both must be the same, or you would read another pair than the one that is marked.",
            "Install the version of the workbook that your instructor uses.",
        )
    return PairBox(
        intake=outside["intake"],
        briefs={letter: Brief.from_plain(values) for letter, values in briefs.items()},
        seeds=seeds,
        people=people,
        points=points,
    )
