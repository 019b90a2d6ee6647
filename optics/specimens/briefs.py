"""Briefs: what kind of pair is wanted on the bench.

A brief never says what the pair is; the seed decides that. The steps of
difficulty follow the order of the course: spheres first, then cylinders, then
everything a pair can carry, then readings between two steps, then pairs that are
strong, bent or badly made.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from random import Random

from optics.errors import OpticsError
from optics.judging.standards import load
from optics.lens.lens import BACK, FRONT
from optics.lens.numbers import between
from optics.lens.parsing import parse_pair
from optics.lens.segment import FLAT_TOP, ROUND, SHAPES
from optics.pair.frame import Frame

SINGLE_VISION = "single vision"
BIFOCAL = "bifocal"
TRIFOCAL = "trifocal"
PROGRESSIVE = "progressive"
STYLES = (SINGLE_VISION, BIFOCAL, TRIFOCAL, PROGRESSIVE)
ANY_STYLE = "any"
CYLINDERS = ("none", "some", "always")
AXES = ("any", "oblique")
TEMPLE_TWISTED = "temple twisted"
FRONT_BENT = "front bent"
SMEARED = "smeared"
CONDITIONS = (TEMPLE_TWISTED, FRONT_BENT, SMEARED)
FAULTS = (
    "sphere",
    "cylinder",
    "axis",
    "addition",
    "horizontal imbalance",
    "vertical imbalance",
    "centre distance one eye",
    "height",
    "height difference",
    "base curve",
)
"""What may be wrong with a pair, as the tables of tolerances name it; "sphere" is whatever they judge as power."""
ZERO_ERROR = "zero error"
"""Nothing wrong with the pair: the instrument does not stand at zero."""
DIFFICULTIES = (1, 2, 3, 4, 5)
MOST_FAULTY = 0.5


def _one_of(name: str, value: object, allowed: tuple[str, ...]) -> None:
    if value not in allowed:
        raise OpticsError(
            f'The {name} of the brief is "{value}".',
            f"It is one of: {', '.join(allowed)}.",
            f'Try "{allowed[0]}".',
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Brief:
    """What kind of pair is wanted.

    Parameters
    ----------
    style : {"single vision", "bifocal", "trifocal", "progressive", "any"}
        Lens style; "any" leaves it to the seed.
    strongest, weakest : float
        Largest and smallest principal power, dioptres, without sign.
    cylinder : {"none", "some", "always"}
        Whether the lenses have cylinder.
    axes : {"any", "oblique"}
        "oblique" keeps axes at least 20 degrees from horizontal and vertical, so
        that a mirrored or unturned axis shows.
    even : bool
        True to draw powers and cylinders evenly over their range, clearly unlike in the two
        lenses, so that nobody meets them by knowing what is common; False to draw them as
        wearers have them.
    between_steps : bool
        True to put the powers near the middle between two quarter steps; False
        to keep them close to a step.
    prism : float
        Largest ordered prism, prism dioptres; 0 for none.
    segment : {"flat-top", "round", "straight-across", "any"}
        Shape of the segment of a bifocal or trifocal.
    carried_by : {"front", "back", "any"}
        The surface of a progressive that carries the addition.
    condition : tuple of {"temple twisted", "front bent", "smeared"}
        What is wrong with the pair as it comes in, and is put right on the bench.
    faulty : float
        Share of pairs with one quantity clearly out of tolerance, 0 to 0.5.
    fault : str
        What is wrong with every pair: one of `FAULTS` or `ZERO_ERROR`; "" leaves it
        to `faulty`.
    table : str
        The table of tolerances that a good pair passes and a faulty one fails, as
        `optics.judging.standards.load` takes it.
    base_curve : float
        Front curve ordered, dioptres; 0 for a usual one, which is not on the order.
    frame : str
        Marking of the frame, such as "52-18"; "" for any that suits.
    zero_error : float
        What the drum of the instrument shows without a lens, dioptres.
    lenses : str
        Right and left, for example `"R -2.00 DS; L +1.25 -0.50 x 090"`: a single vision
        pair made to exactly this for everybody, so that its chapter can guide the hand;
        the rest of the brief is passed over. "" for a pair from the seed.

    Raises
    ------
    OpticsError
        For a brief that no pair can be made to.
    """

    style: str = SINGLE_VISION
    strongest: float = 6.0
    weakest: float = 0.0
    cylinder: str = "some"
    axes: str = "any"
    even: bool = False
    between_steps: bool = False
    prism: float = 0.0
    segment: str = FLAT_TOP
    condition: tuple[str, ...] = ()
    carried_by: str = FRONT
    faulty: float = 0.0
    fault: str = ""
    table: str = "ANSI Z80.1-2015"
    base_curve: float = 0.0
    frame: str = ""
    zero_error: float = 0.0
    lenses: str = ""

    def __post_init__(self) -> None:
        given = (self.condition,) if isinstance(self.condition, str) else tuple(self.condition)
        object.__setattr__(self, "condition", given)
        _one_of("style", self.style, (*STYLES, ANY_STYLE))
        _one_of("cylinder", self.cylinder, CYLINDERS)
        _one_of("axes", self.axes, AXES)
        _one_of("segment", self.segment, (*SHAPES, "any"))
        _one_of("carried_by", self.carried_by, (FRONT, BACK, "any"))
        _one_of("fault", self.fault, ("", *FAULTS, ZERO_ERROR))
        object.__setattr__(self, "table", load(self.table).name)
        if self.lenses:
            parse_pair(self.lenses)
        if self.frame:
            Frame.marked(self.frame, lens_height_mm=30.0)
        for condition in self.condition:
            _one_of("condition", condition, CONDITIONS)
        if self.style in (TRIFOCAL, ANY_STYLE) and self.segment == ROUND:
            raise OpticsError(
                f'The brief asks for round segments, and for "{self.style}" as the style.',
                "A trifocal is flat-top or straight-across.",
                'Try "flat-top".',
            )
        between(self.strongest, 0.5, 15, "strongest power of the brief", " D", "Try 6.")
        # Half a dioptre below the strongest, so that there is something to draw from.
        between(self.weakest, 0, self.strongest - 0.5, "weakest power of the brief", " D", "Try 0.")
        if self.base_curve:
            between(self.base_curve, 1, 9, "base curve of the brief", " D", "Try 6, or 0 for a usual one.")
        between(self.zero_error, -1, 1, "zero error of the brief", " D", "Try 0.25.")
        hint = "In published records it was 0.08 to 0.3."
        between(self.faulty, 0, MOST_FAULTY, "share of faulty pairs of the brief", "", hint)

    @classmethod
    def from_plain(cls, values: dict) -> Brief:
        """A brief from plain values, as read from a file."""
        unknown = set(values) - {field.name for field in fields(cls)}
        if unknown:
            raise OpticsError(
                f"The brief has {', '.join(sorted(unknown))}.",
                f"A brief has {', '.join(field.name for field in fields(cls))}.",
                "Check the spelling.",
            )
        return cls(**values)

    def to_plain(self) -> dict:
        """The brief as plain values, to be written to a file: what is not as usual."""
        usual = asdict(Brief())
        return {name: value for name, value in asdict(self).items() if value != usual[name]}


_STEPS: dict[int, dict] = {
    1: {"strongest": 4.0, "weakest": 0.5, "cylinder": "none"},
    2: {"strongest": 4.0, "cylinder": "always"},
    3: {"strongest": 6.0, "segment": "any", "faulty": 0.15},
    4: {"strongest": 6.0, "segment": "any", "faulty": 0.2, "between_steps": True},
    5: {
        "strongest": 9.0,
        "weakest": 0.75,
        "segment": "any",
        "carried_by": "any",
        "faulty": 0.25,
        "between_steps": True,
        "cylinder": "always",
        "axes": "oblique",
    },
}
# How often a pair of that difficulty comes in out of order.
_OUT_OF_ORDER = {4: 0.5, 5: 0.75}
_PRISM = {1: (0.04, 1.0), 2: (0.04, 1.0), 3: (0.08, 2.0), 4: (0.12, 2.0), 5: (0.15, 3.0)}
"""How often prism is ordered, and at most how much in each lens: few pairs have any (common
practice, from memory); the hard ones have it more often, so that it is met at all."""


def brief_for(style: str, difficulty: int, seed: int = 0) -> Brief:
    """A brief for a whole pair of one style, from easy to hard.

    Parameters
    ----------
    style : str
        Lens style, as in `Brief`.
    difficulty : int
        1: spheres on the steps. 2: cylinders. 3: any segment, sometimes faulty.
        4: between two steps, now and then bent or smeared. 5: strong, oblique, more
        often bent or smeared. Few have prism, the harder the more.
    seed : int
        Decides what is left to chance: prism, and whether and how the pair is out of order.

    Examples
    --------
    >>> brief_for("progressive", 2).cylinder
    'always'
    """
    if difficulty not in DIFFICULTIES:
        raise OpticsError(
            f"The difficulty is {difficulty}.",
            "It is a whole number from 1, easy, to 5, hard.",
            "Try 1.",
        )
    chance = Random(f"condition {seed}")
    condition: tuple[str, ...] = ()
    if chance.random() < _OUT_OF_ORDER.get(difficulty, 0.0):
        condition = tuple(chance.sample(CONDITIONS, k=chance.randint(1, difficulty - 3)))
    share, most = _PRISM[difficulty]
    prism = most if Random(f"prism {seed}").random() < share else 0.0
    return Brief(style=style, condition=condition, prism=prism, **_STEPS[difficulty])
