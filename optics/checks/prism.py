"""Checks of prism worked out on paper: Prentice's rule both ways, prisms as one and as two, image jump."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from optics.errors import OpticsError
from optics.lens.near_prism import centre_below_top_mm, image_jump
from optics.lens.parsing import parse, parse_place, parse_prism
from optics.lens.prism import Prism, decentration_mm, prism_at
from optics.marking.replies import not_answered, one_skill, unanswered, unreadable

PRISM_NEAR, PLACE_NEAR_MM = 0.06, 0.3
"""What rounding on the way may cost: half a tenth, and a little more."""
# Amounts that no question has for its answer: an example may not give one away.
EXAMPLE = {"words": '"9.75 base up"', "one": '"9.75 base 292"', "place": '"27 mm up"'}
SKILL = "prism"
PRENTICE = (
    "The amount is right, and the base is the other way round: a plus lens has it towards the centre, a minus lens towards the edge.",
    "Centimetres from the centre times the power along that line, then the base.",
)
TOGETHER = (
    "The amount is right, and every base is the other way round.",
    "Draw both on the rings, one from the end of the other, and measure from the middle.",
)
JUMP = (PRENTICE[0], "Centimetres from the line to the segment's centre times the addition, then the base.")
"""By question: what is said of a base the other way round, and where else nothing explains the prism."""


def prism(
    answer: object,
    *,
    lens: str = "",
    looked: str = "",
    prisms: str = "",
    to: str = "words",
    points: float = 0.0,
) -> float:
    """Mark a prism worked out on paper: an amount with its base.

    Parameters
    ----------
    answer : str
        As the learner wrote it, "3.20 base down".
    lens, looked : str
        A lens with its eye, "R -4.00 DS", and where it is looked through, "8 mm down"
        from the optical centre; for Prentice's rule.
    prisms : str
        Instead of these, prisms to be taken together, "R 2.00 base in 1.50 base up".
    to : {"words", "one"}
        Whether it is written in words, across and upright apart, or as one prism with
        its base in degrees from 0 to 359.
    points : float
        Marks; 0 is practice.

    Returns
    -------
    float
        The marks.
    """
    eye, right = asked_prism({"lens": lens, "looked": looked, "prisms": prisms})
    return _marked(answer, eye, right, to, points, PRENTICE if lens else TOGETHER)


def jump(
    answer: object,
    *,
    eye: str,
    add: float,
    below_mm: float | None = None,
    across_mm: float = 0.0,
    deep_mm: float | None = None,
    points: float = 0.0,
) -> float:
    """Mark the image jump at the line of a segment: an amount with its base.

    Parameters
    ----------
    answer : str
        As the learner wrote it, "1.00 base down".
    eye : {"R", "L"}
        The lens.
    add : float
        Addition, dioptres.
    below_mm : float, optional
        How far the segment's centre lies below the line, where the question says so.
    across_mm, deep_mm : float
        Its width and depth otherwise, as the question has them; a round has no depth of its own.
    points : float
        Marks; 0 is practice.
    """
    below = centre_below_top_mm(across_mm, deep_mm or across_mm) if below_mm is None else below_mm
    return _marked(answer, eye, image_jump(add, below), "words", points, JUMP)


def _marked(answer: object, eye: str, right: Prism, to: str, points: float, hints: tuple[str, str]) -> float:
    if unanswered(answer):
        return not_answered((SKILL,), points, EXAMPLE[to])
    try:
        parts = parse_prism(answer)
    except OpticsError as error:
        return unreadable(_without_example(error, EXAMPLE[to]), (SKILL,), points)
    found = Prism.of_parts(parts, eye)
    in_form = (len(parts) == 1) if to == "one" else all(isinstance(base, str) for _, base in parts)
    # A base to the whole degree may be half a degree out.
    good = bool((found - right).amount <= PRISM_NEAR + 0.009 * right.amount)
    if good:
        as_asked = (
            "as one prism, its base in degrees" if to == "one" else "in words, across and upright apart"
        )
        sentence = f"That is the same prism; write it {as_asked}."
    else:
        sentence = _why(found, right, hints)
    return one_skill(SKILL, good and (in_form or not parts), points, sentence)


def place(answer: object, *, lens: str, points: float = 0.0) -> float:
    """Mark where the centre of a lens must lie to give an ordered prism, seen from the eye's own place.

    Parameters
    ----------
    answer : str
        As the learner wrote it, "5 mm out".
    lens : str
        A lens with its eye and the prism, "R +4.00 DS prism 2.00 base out".
    points : float
        Marks; 0 is practice.

    Returns
    -------
    float
        The marks.
    """
    line = parse(lens)
    eye = line.eye or "R"
    right = np.asarray(decentration_mm(line.power, Prism.of_parts(line.prism, eye)), dtype=float)
    if unanswered(answer):
        return not_answered((SKILL,), points, EXAMPLE["place"])
    try:
        found = np.array(parse_place(answer, eye), dtype=float)
    except OpticsError as error:
        return unreadable(_without_example(error, EXAMPLE["place"]), (SKILL,), points)
    if np.hypot(*(found + right)) <= PLACE_NEAR_MM:
        sentence = "The distance is right. A plus lens has its base towards the centre, a minus lens towards the edge: which way is that here?"
    elif np.hypot(*(10.0 * found - right)) <= PLACE_NEAR_MM:
        sentence = "Those are centimetres; write millimetres."
    else:
        sentence = "Centimetres from the centre are prism divided by power. Then ask which way the base lies."
    return one_skill(SKILL, bool(np.hypot(*(found - right)) <= PLACE_NEAR_MM), points, sentence)


def _without_example(error: OpticsError, example: str) -> OpticsError:
    """The same refusal with an example that comes near no question's answer."""
    return OpticsError(error.given, error.allowed, f"Write it like {example}.")


def asked_prism(given: Mapping[str, str]) -> tuple[str, Prism]:
    """The eye, and the prism that is right, from what `prism` is given."""
    if given.get("lens"):
        line = parse(given["lens"])
        eye = line.eye or "R"
        return eye, prism_at(line.power, *parse_place(given["looked"], eye)) + Prism.of_parts(line.prism, eye)
    eye, parts = given["prisms"][0], parse_prism(given["prisms"][1:])
    return eye, Prism.of_parts(parts, eye)


def _why(found: Prism, right: Prism, hints: tuple[str, str]) -> str:
    """Which slip leads to a wrong prism, or the step to look at again."""

    def like(other: Prism) -> bool:
        return bool((found - other).amount <= PRISM_NEAR)

    other_way_round, otherwise = hints
    if like(-right):
        return other_way_round
    if like(right.turned_over()):
        return "In and out are exchanged: in is towards the nose, whichever eye it is."
    if like(Prism(10.0 * right.vector)):
        return "That is ten times too much: Prentice's rule takes centimetres."
    if abs(float(found.amount - right.amount)) <= PRISM_NEAR:
        return "The amount is right. Look at the base again: draw it on the rings."
    return otherwise
