"""Errors that speak in one breath: what was given, what is allowed, what to try."""


class OpticsError(ValueError):
    """A value that cannot be right, told as a sentence.

    Parameters
    ----------
    given : str
        What was given, as a full sentence ("The axis is 190.").
    allowed : str
        What is allowed, as a full sentence ("An axis runs from 1 to 180.").
    suggestion : str
        What to try, as a full sentence ("Did you mean 10?").

    Notes
    -----
    A notebook shows the sentence alone, without a traceback, because the
    reader is an optician and not a programmer.
    """

    def __init__(self, given: str, allowed: str, suggestion: str) -> None:
        self.given, self.allowed, self.suggestion = map(_sayable, (given, allowed, suggestion))
        super().__init__(f"{self.given} {self.allowed} {self.suggestion}")

    def _render_traceback_(self) -> list[str]:
        # IPython asks an exception for this before it prints a traceback.
        return [str(self)]


def _sayable(sentence: str) -> str:
    # Half a letter (a lone surrogate) can be typed, and cannot be printed or kept.
    return sentence.encode("utf-8", "replace").decode("utf-8")


def shown(value: object, longest: int = 60) -> str:
    """A value that was given, short enough to be repeated in a sentence."""
    try:
        text = f'"{value}"' if isinstance(value, str) else repr(value)
    except ValueError:  # Python refuses to spell a number of more than 4,300 digits.
        return "a number of thousands of digits"
    return text if len(text) <= longest else f"{text[: longest - 1]}…"
