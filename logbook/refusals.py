"""The one way to say no: a sentence a person can act on."""

from collections.abc import Sequence


class Refused(ValueError):
    """Something was asked that cannot be done; the message is one clear sentence.

    ``field`` names the input it is about, so that a form can show the sentence
    beside that field; None where no single input is to blame. The command line
    prints the sentence and exits with 2, the web answers 422. ``others`` are the
    further inputs that lack something at the same time, each with its sentence:
    who is sent back once finds all of them.
    """

    def __init__(self, sentence: str, *, field: str | None = None, others: Sequence[tuple[str, str]] = ()) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.field = field
        self.others = tuple(others)


class Changed(Refused):
    """Somebody else was quicker: what this act rests on is not so any more. The web answers 409."""
