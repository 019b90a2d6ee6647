"""The trace of a hand: a short record of how an instrument was worked, and what the eye saw.

It is kept for the learner's own eyes and the trainer's, never for marks: a
notebook can be edited. So it is read as data, bounded in size and in every
value, and a damaged one is told and left aside.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optics.errors import OpticsError
from optics.instrument.focimeter import COMPENSATOR_MOST, DRUM_RANGE, EYEPIECE_RANGE, Settings, eyepiece_view
from optics.lens.lens import EMPTY
from optics.pair.charts import REACH_DEGREES, REACH_MM, charts
from optics.pair.spectacles import Spectacles

TRACE_MIME = "application/vnd.optics.trace+json"
MOST_LETTERS = 14_000
"""Length of the moves as text at most. Two cells of a pair carry it, so a pair stays under 30 kB."""
SPARE_LETTERS = 100
"""Kept free, so that the last move always fits."""
ONE_TURN_MS = 100
"""A control that goes on turning is kept at this pace; its last place is always kept."""
LONGEST_MS = 24 * 3_600_000
THINNED = "The work was long: of its older part only the readings are kept, and the moves that led to them."
"""What learner and trainer are told of a trace that left moves out."""
BEGUN_LATE = "The record was switched on when the work had begun."
"""What they are told of one that lacks its beginning."""

LINES = ("sphere", "cylinder")
_WORDS: dict[str, tuple[str, ...]] = {
    "lens": ("R", "L"),
    "against": ("back", "front"),
    "noted": LINES,
    "struck": ("last",),
    "aside": ("no", "yes"),
    "chart": ("", *(each.sign for each in charts())),
    "chart_under": ("R", "L"),
    "inked": ("R", "L"),
}
# Letter in the text, least and most that each control can stand at.
_CONTROLS: dict[str, tuple[str, float, float]] = {
    "lens": ("l", 0, 1),
    "against": ("a", 0, 1),
    "aside": ("o", 0, 1),
    "drum": ("d", *DRUM_RANGE),
    "wheel": ("w", 1, 180),
    "eyepiece": ("e", *EYEPIECE_RANGE),
    "stage_x_mm": ("x", -60, 60),
    "stage_y_mm": ("y", -60, 60),
    "compensator": ("c", 0, COMPENSATOR_MOST),
    "compensator_base": ("b", 0, 360),
    "chart": ("h", 0, len(charts())),
    "chart_under": ("u", 0, 1),
    "chart_x_mm": ("p", -REACH_MM, REACH_MM),
    "chart_y_mm": ("q", -REACH_MM, REACH_MM),
    "chart_turned_degrees": ("t", -REACH_DEGREES, REACH_DEGREES),
    "noted": ("n", 0, 1),
    "struck": ("s", 0, 0),
    "inked": ("i", 0, 1),
}
TRAY = ("chart", "chart_under", "chart_x_mm", "chart_y_mm", "chart_turned_degrees")
"""How the chart lies on the tray; a bench without a tray has none of it."""
_TOLD = {
    ("lens", "R"): "right lens over the stop",
    ("lens", "L"): "left lens over the stop",
    ("against", "back"): "back against the stop",
    ("against", "front"): "front against the stop",
    ("aside", "yes"): "the pair laid aside",
    ("aside", "no"): "the pair laid back",
    ("noted", "sphere"): "sphere lines noted",
    ("noted", "cylinder"): "cylinder lines noted",
    ("struck", "last"): "the last reading struck out",
    ("chart_under", "R"): "chart under the right lens",
    ("chart_under", "L"): "chart under the left lens",
    ("inked", "R"): "right lens inked",
    ("inked", "L"): "left lens inked",
    **{("chart", each.sign): f"chart {each.sign} taken" for each in charts()},
    ("chart", ""): "chart put away",
}
_TOLD_AT = {
    "drum": "drum to {:+.2f} D",
    "wheel": "wheel to {:03.0f}",
    "eyepiece": "eyepiece to {:+.2f} D",
    "stage_x_mm": "stop to {:+.1f} mm from the bridge",
    "stage_y_mm": "stop to {:+.1f} mm from the datum line",
    "compensator": "compensator to {:.2f}",
    "compensator_base": "base of the compensator to {:.0f} degrees",
    "chart_x_mm": "chart to {:+.1f} mm across",
    "chart_y_mm": "chart to {:+.1f} mm up",
    "chart_turned_degrees": "chart turned to {:+.0f} degrees",
}
_OF_LETTER = {letter: control for control, (letter, _, _) in _CONTROLS.items()}
_START = tuple(name for name in _CONTROLS if name not in ("noted", "struck", "inked"))
_TURNED = tuple(name for name in _CONTROLS if name not in _WORDS)
_MOVE = re.compile(r"([a-z])(\d{1,8}),(-?\d{1,5});", re.ASCII)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrumReading:
    """One reading as it was noted: which lines were sharp, and where drum and wheel stood.

    Parameters
    ----------
    eye : {"R", "L"}
        The lens over the stop.
    against : {"back", "front"}
        Its side against the stop.
    lines : {"sphere", "cylinder"}
        The set of lines that was sharp.
    drum : float
        Dioptres.
    wheel : float
        Degrees.
    """

    eye: str
    against: str
    lines: str
    drum: float
    wheel: float


@dataclass(frozen=True, slots=True)
class Move:
    """One move: which control, where it came to stand, and when, milliseconds from the start."""

    control: str
    value: float | str
    ms: int

    @property
    def words(self) -> str:
        """The move as one would tell it."""
        if self.control in _WORDS:
            return _TOLD[self.control, str(self.value)]
        return _TOLD_AT[self.control].format(self.value)


@dataclass(slots=True)
class Trace:
    """How an instrument was worked, move by move.

    Parameters
    ----------
    start : dict
        Where every control stood at the beginning.
    eye : float
        The dial setting at which this operator's reticle is sharp, dioptres at the eye.
    zero_error : float
        Zero error of the instrument, dioptres.
    pair : str
        What the pair is called in its chapter.
    moves : list of Move
        In the order of time.
    whole : bool
        False once there was no more room.
    thinned : bool
        True once moves were left out: of the older part every reading is kept, and how one came to it.
    late : bool
        True where it was switched on when the work had begun: what was done before, nobody knows.
    """

    start: dict[str, float | str]
    eye: float = 0.0
    zero_error: float = 0.0
    pair: str = ""
    moves: list[Move] = field(default_factory=list)
    whole: bool = True
    thinned: bool = False
    late: bool = False
    _letters: int = 0

    def note(self, control: str, value: float | str, ms: int) -> None:
        """Keep a move; a control that goes on turning is kept ten times a second."""
        number = _number(control, value)
        # A drag over the stage moves two controls by turns.
        for at in range(len(self.moves) - 1, max(-1, len(self.moves) - 3), -1):
            last = self.moves[at]
            if last.control not in _TURNED or control not in _TURNED or ms - last.ms >= ONE_TURN_MS:
                break
            if last.control == control:
                self._letters += len(str(number)) - len(str(_number(control, last.value)))
                self.moves[at] = Move(control, value, last.ms)
                return
        before = self.moves[-1].ms if self.moves else 0
        self._letters += len(f"{_CONTROLS[control][0]}{max(0, ms - before)},{number};")
        if self._letters > MOST_LETTERS - SPARE_LETTERS:
            self._thin()
        if self._letters > MOST_LETTERS - SPARE_LETTERS:
            self.whole = False
            return
        self.moves.append(Move(control, value, max(ms, before)))

    def _thin(self) -> None:
        """Keep of every turn where it ended; where that is not enough, of the older part what led to a reading."""
        self.thinned = True
        come_to = _come_to(self.moves)
        turns = {made - 1 for made in self.turns}
        self.moves = [move for at, move in enumerate(self.moves) if at in turns | come_to]
        if len(self.text) > MOST_LETTERS // 2:
            older = len(self.moves) * 3 // 4
            self.moves = _led_to_readings(self.moves[:older]) + self.moves[older:]
        self._letters = len(self.text)

    @property
    def text(self) -> str:
        """The moves as one line: control, milliseconds since the move before, hundredths."""
        parts, before = [], 0
        for move in self.moves:
            parts.append(
                f"{_CONTROLS[move.control][0]}{move.ms - before},{_number(move.control, move.value)};"
            )
            before = move.ms
        return "".join(parts)

    @property
    def bundle(self) -> dict[str, Any]:
        """The trace as plain data for a notebook."""
        start = {name: _number(name, self.start[name]) for name in _START if name in self.start}
        eye, zero = round(self.eye * 100), round(self.zero_error * 100)
        return {
            "pair": self.pair,
            "start": start,
            "eye": eye,
            "zero": zero,
            "whole": self.whole,
            "thinned": self.thinned,
            "late": self.late,
            "moves": self.text,
        }

    def after(self, moves: int) -> dict[str, float | str]:
        """Where every control stood after so many moves."""
        stood = dict(self.start)
        for move in self.moves[: max(0, moves)]:
            if move.control in _START:
                stood[move.control] = move.value
        return stood

    def _each(self) -> Iterator[tuple[Move, dict[str, float | str]]]:
        """Each move, and where every control stood when it was made."""
        # Walked once: asked move by move, a long record costs seconds.
        stood = dict(self.start)
        for move in self.moves:
            yield move, stood
            if move.control in _START:
                stood[move.control] = move.value

    def inked(self, moves: int) -> dict[str, dict[str, float | str]]:
        """How the chart lay when each lens was inked, by eye, after so many moves; the last ink counts."""
        found = {}
        for move, stood in islice(self._each(), max(0, moves)):
            if move.control == "inked":
                found[str(move.value)] = {name: stood[name] for name in TRAY if name in stood}
        return found

    def settings(self, moves: int) -> Settings:
        """Drum, wheel, eyepiece and compensator after so many moves."""
        stood = self.after(moves)
        base, amount = np.deg2rad(float(stood["compensator_base"])), float(stood["compensator"])
        return Settings(
            drum=float(stood["drum"]),
            wheel=float(stood["wheel"]),
            eyepiece=float(stood["eyepiece"]),
            eye=self.eye,
            zero_error=self.zero_error,
            compensator_x=float(amount * np.cos(base)),
            compensator_y=float(amount * np.sin(base)),
        )

    def picture(self, spectacles: Spectacles, moves: int, size: int = 384) -> NDArray[np.float64]:
        """What the learner saw after so many moves.

        Parameters
        ----------
        spectacles : Spectacles
            The pair that lay on the stage.
        moves : int
            How many moves had been made.
        size : int
            Width and height, pixels.

        Returns
        -------
        ndarray, shape (size, size)
            Brightness, 0 to 1.
        """
        stood = self.after(moves)
        if stood["aside"] == "yes":
            return eyepiece_view(self.settings(moves), EMPTY, size)
        x_mm, y_mm = float(stood["stage_x_mm"]), float(stood["stage_y_mm"])
        met = spectacles.over_stop(str(stood["lens"]), x_mm, y_mm, str(stood["against"]))
        return eyepiece_view(self.settings(moves), met, size)

    @property
    def turns(self) -> tuple[int, ...]:
        """Where each turn of a control ended: the numbers of moves made by then, for showing it again."""
        after = [*self.moves[1:], None]
        return tuple(
            i + 1
            for i, (move, then) in enumerate(zip(self.moves, after, strict=True))
            if then is None or then.control != move.control or move.control not in _START
        )

    @property
    def noted(self) -> tuple[int, ...]:
        """The moves, by their numbers, that noted the readings which were not struck out again."""
        kept: list[int] = []
        for at, move in enumerate(self.moves):
            if move.control == "struck" and kept:
                kept.pop()
            if move.control == "noted":
                kept.append(at)
        return tuple(kept)

    @property
    def stood(self) -> tuple[dict[str, float | str], ...]:
        """Where every control stood at each reading that was noted and not struck out again."""
        counts = {*self.noted}
        return tuple(dict(stood) for at, (_, stood) in enumerate(self._each()) if at in counts)

    @property
    def readings(self) -> tuple[DrumReading, ...]:
        """The readings that were noted and not struck out again."""
        return tuple(
            DrumReading(
                eye=str(stood["lens"]),
                against=str(stood["against"]),
                lines=str(self.moves[at].value),
                drum=float(stood["drum"]),
                wheel=float(stood["wheel"]),
            )
            for at, stood in zip(self.noted, self.stood, strict=True)
        )


def _come_to(moves: Sequence[Move]) -> set[int]:
    """The last two moves of the drum before each reading: from which side it was come to."""
    drum: list[int] = []
    kept: set[int] = set()
    for at, move in enumerate(moves):
        if move.control == "drum":
            drum.append(at)
        elif move.control == "noted":
            kept.update(drum[-2:])
    return kept


def _led_to_readings(moves: Sequence[Move]) -> list[Move]:
    """Whatever is not turned but done, where each control stood by then, and how one came to the readings."""
    kept, stands = _come_to(moves), dict[str, int]()
    for at, move in enumerate(moves):
        if move.control in _TURNED:
            stands[move.control] = at
        else:
            kept.update(stands.values(), (at,))
            stands.clear()
    kept.update(stands.values())  # as it stood where the newer moves begin
    return [moves[at] for at in sorted(kept)]


def trace_from(data: object) -> Trace:
    """Read a trace as a notebook carries it.

    Parameters
    ----------
    data : object
        Anything: it may be damaged or made up.

    Returns
    -------
    Trace
        With every control within its reach.

    Raises
    ------
    OpticsError
        If it cannot be read.
    """
    try:
        return _read(data)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise OpticsError(
            "The record of moves cannot be read.",
            f"It is damaged or was edited ({type(error).__name__}).",
            "Go by the answers alone.",
        ) from None


def _read(data: Any) -> Trace:
    text = data["moves"]
    if not isinstance(text, str) or len(text) > MOST_LETTERS:
        raise ValueError("too long")
    given = {"aside": 0, **data["start"]}
    if set(given) - set(TRAY) != set(_START) - set(TRAY):
        raise ValueError("start")
    start = {name: _value(name, given[name]) for name in _START if name in given}
    trace = Trace(
        start=start,
        eye=_hundredths(data["eye"], *EYEPIECE_RANGE),
        zero_error=_hundredths(data["zero"], -5, 5),
        pair=str(data["pair"])[:40],
        whole=data["whole"] is True,
        thinned=data.get("thinned") is True,
        late=data.get("late") is True,
    )
    ms, at = 0, 0
    for found in _MOVE.finditer(text):
        if found.start() != at:
            break
        at, control = found.end(), _OF_LETTER[found[1]]
        if "chart" not in start and control in (*TRAY, "inked"):
            raise ValueError("no tray")
        ms += int(found[2])
        trace.moves.append(Move(control, _value(control, int(found[3])), ms))
    if at != len(text) or ms > LONGEST_MS:
        raise ValueError("moves")
    trace._letters = len(text)
    return trace


def traces_in(notebook: Mapping[str, Any], most: int | None = None) -> tuple[tuple[str, Trace], ...]:
    """The traces that a notebook carries, or the first few: id of the cell, and the trace; what cannot be read is left out."""
    return tuple(islice(_traces(notebook), most))


def _traces(notebook: Any) -> Iterator[tuple[str, Trace]]:
    for cell, output in _outputs(notebook):
        try:
            yield str(cell.get("id", "")), trace_from(output["data"][TRACE_MIME])
        except (KeyError, TypeError, AttributeError, OpticsError):
            continue


def _outputs(notebook: Any) -> Iterator[tuple[Any, Any]]:
    cells = notebook.get("cells") if isinstance(notebook, Mapping) else None
    for cell in cells if isinstance(cells, list) else []:
        outputs = cell.get("outputs") if isinstance(cell, Mapping) else None
        yield from ((cell, output) for output in outputs) if isinstance(outputs, list) else ()


def _number(control: str, value: float | str) -> int:
    """A value as it stands in the text: hundredths, or the place of a word."""
    words = _WORDS.get(control)
    return words.index(str(value)) if words else round(float(value) * 100)


def _value(control: str, number: Any) -> float | str:
    _, low, high = _CONTROLS[control]
    if words := _WORDS.get(control):
        return words[range(len(words)).index(number)]
    return _hundredths(number, low, high)


def _hundredths(number: Any, low: float, high: float) -> float:
    if isinstance(number, bool) or not isinstance(number, int) or not low * 100 <= number <= high * 100:
        raise ValueError(f"{number} is out of reach")
    return number / 100


_in_hand: list[Callable[[], Trace | None]] = []


def taken_in_hand(trace: Callable[[], Trace | None]) -> None:
    """Say whose trace is the newest: that of the instrument a hand has just moved."""
    _in_hand[:] = [trace]


def trace_in_hand() -> Trace | None:
    """The trace of the instrument that was moved last, if there is one and it is kept."""
    return _in_hand[0]() if _in_hand else None


def bundle_in_hand() -> dict[str, Any] | None:
    """That trace as it goes with an answer; none where nothing was moved."""
    trace = trace_in_hand()
    return trace.bundle if trace is not None and trace.moves else None


_handed_in: list[Trace | None] = []


@contextmanager
def handed_in(trace: Trace | None) -> Iterator[None]:
    """Within it, this is the trace that came with the answer, and none that lies in hand stands in for it."""
    _handed_in.append(trace)
    try:
        yield
    finally:
        _handed_in.pop()


def trace_of(pair: str) -> Trace | None:
    """How this pair was read: as it was handed in, else the trace in hand; none where it is another pair's."""
    kept = _handed_in[-1] if _handed_in else trace_in_hand()
    return kept if kept is not None and kept.pair.strip() == pair else None
