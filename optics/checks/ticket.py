"""The check of a whole ticket: everything that was written of an unknown pair."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from pathlib import Path

from optics.checks.bench import nameless
from optics.errors import OpticsError, shown
from optics.instrument.trace import bundle_in_hand, trace_of
from optics.lens.prescription import written
from optics.lens.prism import EYES
from optics.marking.account import account, in_brief
from optics.marking.diagnosis import Diagnosis, diagnose
from optics.marking.marks import ASKS, mark_pair, shared_out, true_triple
from optics.marking.read import FIELDS, SHOP_FIELDS, Ticket, field_name, fields_asked, read_answer
from optics.marking.replies import unanswered
from optics.marking.telling import Reply, tell
from optics.specimens.sealed import open_pairs
from optics.specimens.steps import prism_words

NO_PRISM = 'Where you found no prism, write "no prism"'
ONE_TICKET = "A ticket is fields between { and }, each with its name, a colon and text between quotes."


def recorded_ticket(answer: object = None, *, asks: Collection[str] = ASKS, **fields: object) -> None:
    """Say how each field of a graded ticket is read, without marking it.

    Parameters
    ----------
    answer : dict of str to str
        The ticket as the learner wrote it; see `ticket`.
    asks : collection of str
        What the question asks, of `ASKS`.
    **fields : str
        Fields by name, instead of a dictionary.
    """
    typed, troubles = _taken(answer, fields)
    if not typed and not troubles:
        tell(Reply(state="Not answered yet", sentences=_to_fill_in(asks)))
        return
    read = read_answer(typed)
    troubles += _beside(read)
    told = [f"{_label(name)}: {how}." for name, how in _how_read(read)]
    empty = [name for name in fields_asked(asks) if name not in typed]
    if empty:
        told.append(f"Still empty: {', '.join(map(field_name, empty))}.")
    if "prism" in asks and any(name.startswith("prism") for name in empty):
        told.append(f"{NO_PRISM}: an empty field says that nobody looked.")
    state = "Not yet" if troubles else "Recorded"
    told.append("It is marked after you hand in.")
    tell(Reply(state=state, sentences=(*in_brief(troubles), *told), trace=bundle_in_hand()))


def ticket(
    answer: object = None,
    *,
    learner: object,
    pair: str,
    asks: Collection[str] = ASKS,
    form: str = "minus",
    points: float = 0.0,
    folder: str | Path = ".",
    **fields: object,
) -> float:
    """Mark the ticket of the unknown pair before this learner, by skill.

    Parameters
    ----------
    answer : dict of str to str
        Any of `optics.marking.read.FIELDS`, as the learner wrote them; a field that
        cannot be read loses nothing else.
    learner, pair, form, points, folder
        As for `reading`; without points it is practice on a guided pair, answered at once.
    asks : collection of str
        What the question asks: "lines", "add", "prism", "pd", "heights", "style". What is
        asked and not on the ticket is missing; what else stands there is read, not marked.
    **fields : str
        Fields by name, instead of a dictionary.

    Returns
    -------
    float
        The marks.
    """
    typed, troubles = _taken(answer, fields)
    if unanswered(learner) or not isinstance(learner, str):
        skills = tuple(skill for each in asks for skill in ASKS[each])
        if typed or troubles:
            return nameless(skills, points)
        nothing = shared_out(dict.fromkeys(skills, False), points)
        return tell(Reply(state="Not answered yet", sentences=_to_fill_in(asks), marks=nothing))
    specimen = open_pairs(folder).pair(pair, learner)
    read = read_answer(typed, form)
    found = mark_pair(read, specimen, form, points, asks)
    if not typed and not troubles:
        return tell(Reply(state="Not answered yet", sentences=_to_fill_in(asks), marks=found.marks))
    troubles += _beside(read)
    if found.all_right and not troubles:
        return tell(Reply(state="Right", marks=found.marks, where="bench", offs=found.offs))
    some = found.marks.missed and any(read.of(eye).line for eye in EYES)
    explained = diagnose(read, specimen, form, trace=trace_of(pair)) if some else Diagnosis()
    explained = explained.about(found.marks.missed)
    return tell(
        Reply(
            state="Not yet",
            sentences=account(
                found.marks,
                explained.slips,
                form=form,
                either=explained.either,
                pair={eye: (read.of(eye).distance, true_triple(specimen.power(eye), form)) for eye in EYES},
                wrong=found.wrong,
                touched=explained.ranked[0].each if explained else (),
                refused=troubles,
                missing=found.missing,
                unwritten=(*found.unwritten, *(["style"] if "style" in read.refused else [])),
                notation=[told for told in found.remarks if not any(told in each for each in troubles)],
            ),
            marks=found.marks,
            slips=explained.names,
            either=explained.either,
            where="bench",
            taken=not troubles,
            offs=found.offs,
        )
    )


# --- from what was typed --------------------------------------------------------------


def _to_fill_in(asks: Collection[str]) -> tuple[str, ...]:
    """How a ticket is filled in: a prism that is asked for is never left empty, and an addition may be."""
    told = ["Type what you read between the quotes."]
    if {"style", "add"} <= set(asks):
        told.append("Leave empty what this pair does not have.")
    if "prism" in asks:
        told.append(f"{NO_PRISM}.")
    return tuple(told)


def _taken(answer: object, fields: Mapping[str, object]) -> tuple[dict[str, object], list[str]]:
    """Fields that were filled in, and a sentence for what is no field."""
    troubles = []
    if not unanswered(answer) and not isinstance(answer, Mapping):
        troubles.append(ONE_TICKET)
    both = {**(answer if isinstance(answer, Mapping) else {}), **fields}
    if unknown := [shown(name, 40) for name in both if name not in FIELDS]:
        error = OpticsError(
            f"A ticket has no field {unknown[0]}.",
            f"Its fields are: {', '.join(FIELDS)}.",
            "Mend the name.",
        )
        troubles.append(str(error))
    return {name: both[name] for name in FIELDS if name in both and not unanswered(both[name])}, troubles


def _beside(read: Ticket) -> list[str]:
    """What cannot be read, each beside its field."""
    return [f"{_label(name)}: {sentence}" for name, sentence in read.unread.items()]


def _label(name: str) -> str:
    words = field_name(name)
    return words[0].upper() + words[1:]


def _how_read(read: Ticket) -> list[tuple[str, str]]:
    """Each field that can be read, and what it was read as."""
    told = {"style": read.style or ""}
    for eye, side in EYES.items():
        lens = read.of(eye)
        told[side] = lens.distance.distance if lens.distance is not None else ""
        told[f"add_{side}"] = "" if lens.add is None else written(lens.add)
        told[f"prism_{side}"] = "" if lens.prism is None else prism_words(lens.prism) or "no prism"
        told[f"pd_{side}"] = "" if lens.pd_mm is None else f"{lens.pd_mm:g} mm"
        told[f"height_{side}"] = "" if lens.height_mm is None else f"{lens.height_mm:g} mm"
    told |= {name: "" if name in read.refused else read.typed.get(name, "") for name in SHOP_FIELDS}
    told["remarks"] = "kept as written" if read.remarks.strip() else ""
    return [(name, told[name]) for name in FIELDS if told[name]]
