"""Whether the leak correction that a job chose still serves a run."""

from logbook.rules.findings import Finding, ask, stop

RULE = "leak correction"
_ANEW = "choose it anew on the page Ghosting"


def still_serves(*, made_for: int, pictures: int, counts: bool, same: bool) -> list[Finding]:
    """What stands between a chosen correction and a run.

    ``made_for`` so many pictures; ``counts``: the reading that it rests on is the one that counts for the job's lens,
    printer and paper; ``same``: the mixing is still what it was.
    """
    if made_for != pictures:
        return [stop(RULE, f"The leak correction was chosen for {made_for} pictures, and there are {pictures} now; "
                           f"{_ANEW}, or none.")]  # fmt: skip
    if not counts:
        return [ask(RULE, "The reading that the leak correction rests on does not count any more for this lens, "
                          f"printer and paper; {_ANEW}.")]  # fmt: skip
    if not same:
        return [ask(RULE, f"The figures of mixing were changed since the leak correction was chosen; {_ANEW}.")]
    return []
