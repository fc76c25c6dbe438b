"""The table as text, for people and for the README."""

from promised.rows import Judged

HEAD = f"{'':4} {'verdict':13} {'trials':>7} {'failed':>6} {'at most':>8}  promise | measured | goal"


def line(judged: Judged) -> str:
    """One row. ``at most``: the rate that no failure in N trials leaves possible at 95 %, three divided by N."""
    told = judged.told
    counted = "" if told.reason or not told.trials else str(told.trials)
    failed = str(told.failures) if counted else ""
    bound = f"{300 / told.trials:.2g} %" if counted and not told.failures and not judged.row.timed else ""
    if told.trials <= 3 and bound:
        bound = ""
    said = [judged.row.promise, told.reason or told.figure, f"goal: {judged.row.goal}"]
    whole = " | ".join(part for part in said if part)
    text = f"{judged.row.id:4} {judged.verdict:13} {counted:>7} {failed:>6} {bound:>8}  {whole}"
    return text + (f"\n{'':42}first failure: {told.first}" if told.first else "")


def closing(judged: list[Judged]) -> str:
    """How many of each verdict."""
    counts: dict[str, int] = {}
    for one in judged:
        counts[one.verdict] = counts.get(one.verdict, 0) + 1
    return ", ".join(f"{count} {verdict}" for verdict, count in sorted(counts.items()))
