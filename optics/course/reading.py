"""Reading answers from a learner's cell without running it.

An answer is a plain value: a text, a number with its sign and simple
arithmetic, or a small list or dictionary of them. Python's own parser takes the
cell apart; nothing in it is evaluated beyond that, so it does not matter what
else somebody wrote there.
"""

from __future__ import annotations

import ast
import re
import warnings
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from optics.checks.typed import CURLY, why_unreadable

LONGEST_CELL = 10_000
"""Characters; beyond this a cell is not an answer."""
LONGEST_TEXT = 2_000
MOST_ENTRIES = 200
DEEPEST = 6
LARGEST = 1e9
_OPENED = re.compile(r"^([A-Za-z_]\w*)[ ]*=[ ]*\{", re.MULTILINE)
_ENTRY = re.compile(r"""(["'])(\w{1,40})\1[ ]*:[ ]*(["'])([^"'\n]*)\3""")


@dataclass(slots=True)
class Reading:
    """What could be read from one cell.

    Parameters
    ----------
    values : dict
        Answers by name.
    notes : list of str
        A sentence for whatever could not be read.
    """

    values: dict[str, object] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


class _NotPlainError(Exception):
    """The value is more than an answer may be; its text is the end of a sentence."""


def _shown(source: str, statement: ast.stmt) -> str:
    """The first line of a statement as written, cut short."""
    text = source.splitlines()[statement.lineno - 1].strip()
    return text if len(text) <= 60 else text[:57] + "..."


def _number(value: object) -> float | int:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise _NotPlainError("it reckons with something that is not a number")
    # Compared before anything else, for an integer may be too large even to be asked whether it is finite.
    if not abs(value) <= LARGEST:
        raise _NotPlainError("its number is too large")
    return value


def _sum(node: ast.BinOp, known: Mapping[str, object], depth: int) -> float | int:
    left = _number(_value(node.left, known, depth + 1))
    right = _number(_value(node.right, known, depth + 1))
    match node.op:
        case ast.Add():
            result = left + right
        case ast.Sub():
            result = left - right
        case ast.Mult():
            result = left * right
        case ast.Div():
            if right == 0:
                raise _NotPlainError("it divides by zero")
            result = left / right
        case _:
            raise _NotPlainError("it reckons with more than + - * /")
    return _number(result)


def _value(node: ast.expr, known: Mapping[str, object], depth: int = 0) -> object:
    if depth > DEEPEST:
        raise _NotPlainError("it is nested too deeply")
    match node:
        case ast.Constant(value=str() as text):
            if len(text) > LONGEST_TEXT:
                raise _NotPlainError("its text is too long")
            return text
        case ast.Constant(value=bool() | None):
            return node.value
        case ast.Constant(value=int() | float()):
            return _number(node.value)
        case ast.UnaryOp(op=ast.UAdd()):
            return +_number(_value(node.operand, known, depth + 1))
        case ast.UnaryOp(op=ast.USub()):
            return -_number(_value(node.operand, known, depth + 1))
        case ast.BinOp():
            return _sum(node, known, depth)
        case ast.Name(id=name) if isinstance(known.get(name), str | int | float):
            # A number noted in an earlier answer and used again.
            return known[name]
        case ast.List(elts=parts) | ast.Tuple(elts=parts):
            if len(parts) > MOST_ENTRIES:
                raise _NotPlainError("it has too many entries")
            values = [_value(part, known, depth + 1) for part in parts]
            return values if isinstance(node, ast.List) else tuple(values)
        case ast.Dict(keys=keys, values=parts):
            if len(parts) > MOST_ENTRIES:
                raise _NotPlainError("it has too many entries")
            return {
                _key(key, known, depth): _value(part, known, depth + 1)
                for key, part in zip(keys, parts, strict=True)
            }
    raise _NotPlainError("it is more than a plain text or number")


def _entries(
    node: ast.Dict, known: Mapping[str, object], name: str, notes: list[str]
) -> dict[object, object]:
    """The entries of a dictionary; one that cannot be read is told, and takes no other along."""
    if len(node.values) > MOST_ENTRIES:
        raise _NotPlainError("it has too many entries")
    found: dict[object, object] = {}
    for key, part in zip(node.keys, node.values, strict=True):
        label: object = name
        try:
            label = _key(key, known, 1)
            found[label] = _value(part, known, 1)
        except _NotPlainError as reason:
            found.pop(label, None)
            notes.append(f'"{str(label)[:40]}" in "{name}" was not read, because {reason}.')
    return found


def _salvaged(source: str) -> Reading:
    """What is whole of a ticket that lost a comma or a quotation mark elsewhere."""
    reading = Reading()
    straight = source.translate(str.maketrans(CURLY, '"""\'\''))
    starts = list(_OPENED.finditer(straight))
    ends = [*(start.start() for start in starts), len(straight)][1:]
    for start, end in zip(starts, ends, strict=True):
        part = straight[start.end() : end]
        entries = {found[2]: found[4] for found in list(_ENTRY.finditer(part))[:MOST_ENTRIES]}
        entries = {field: text for field, text in entries.items() if len(text) <= LONGEST_TEXT}
        if entries:
            reading.values[start[1]] = entries
            reading.notes.append(
                f'A comma or a quotation mark is missing in "{start[1]}". Read of it: {", ".join(entries)}.'
            )
    return reading


def _key(key: ast.expr | None, known: Mapping[str, object], depth: int) -> str | float | int:
    value = _value(key, known, depth + 1) if key is not None else None
    if not isinstance(value, str | int | float):
        raise _NotPlainError("a name in it is neither text nor number")
    return value


def _parsed(source: str) -> ast.Module:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return ast.parse(source)


def assigned_names(source: str) -> tuple[str, ...]:
    """Names that a cell gives values to, in order; none where it cannot be parsed."""
    if len(source) > LONGEST_CELL:
        return ()
    try:
        tree = _parsed(source)
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return ()
    found = [
        target.id
        for statement in tree.body
        if isinstance(statement, ast.Assign)
        for target in statement.targets
        if isinstance(target, ast.Name)
    ]
    return tuple(dict.fromkeys(found))


def answers_in(sources: Iterable[str]) -> dict[str, object]:
    """Every answer of a notebook by its name, from the sources of its code cells; the last one stands."""
    found: dict[str, object] = {}
    for source in sources:
        if assigned_names(source):
            found |= read_answers(source, found).values
    return found


def read_answers(source: str, known: Mapping[str, object] | None = None) -> Reading:
    r"""Read the answers in one cell.

    Parameters
    ----------
    source : str
        The cell as the learner left it.
    known : mapping, optional
        Answers read from earlier cells, which this one may use in a sum.

    Returns
    -------
    Reading
        Answers by name, and a sentence for each line that is not one.

    Examples
    --------
    >>> read_answers('right = "-2.25 -0.75 x 015"\nspan_mm = 64 - 2 * 1.5').values
    {'right': '-2.25 -0.75 x 015', 'span_mm': 61.0}
    >>> read_answers('right = open("key.txt").read()').notes
    ['The answer "right" was not read, because it is more than a plain text or number.']
    """
    reading = Reading()
    if len(source) > LONGEST_CELL:
        reading.notes.append(
            f"This cell was not read: it is {len(source):,} characters long, and an answer is a line or two."
        )
        return reading
    try:
        tree = _parsed(source)
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        # Whatever the parser stumbled over, the learner needs one sentence, not its terms.
        if (saved := _salvaged(source)).values:
            return saved
        reading.notes.append(f"This cell could not be read. {why_unreadable(source)}.")
        return reading
    scope = dict(known or {})
    for statement in tree.body:
        match statement:
            case ast.Assign(targets=targets, value=value) if all(isinstance(t, ast.Name) for t in targets):
                names = [target.id for target in targets if isinstance(target, ast.Name)]
            case ast.AnnAssign(target=ast.Name(id=name), value=ast.expr() as value):
                names = [name]
            case ast.Pass() | ast.Expr(value=ast.Constant()):
                # A bare text is a note to oneself.
                continue
            case _:
                reading.notes.append(
                    f'The line "{_shown(source, statement)}" is not an answer and was not read.'
                )
                continue
        try:
            if isinstance(value, ast.Dict):
                found: object = _entries(value, scope, " = ".join(names), reading.notes)
            else:
                found = _value(value, scope)
        except _NotPlainError as reason:
            # A kernel would have stopped here, so an earlier value under this name does not stand.
            for name in names:
                scope.pop(name, None)
                reading.values.pop(name, None)
                reading.notes.append(f'The answer "{name}" was not read, because {reason}.')
            continue
        for name in names:
            scope[name] = reading.values[name] = found
    return reading
