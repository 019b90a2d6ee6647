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
        self.given = given
        self.allowed = allowed
        self.suggestion = suggestion
        super().__init__(f"{given} {allowed} {suggestion}")

    def _render_traceback_(self) -> list[str]:
        # IPython asks an exception for this before it prints a traceback.
        return [str(self)]
