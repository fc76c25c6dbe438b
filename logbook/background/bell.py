"""The bell: tells the worker that a run waits. It may be lost at any time; the run's row is the truth."""

from collections.abc import Callable

from huey import SqliteHuey

from logbook.settings import Settings


class Bell:
    """A queue with one task, in a small SQLite file of its own."""

    def __init__(self, settings: Settings, answer: Callable[[int], None] | None = None) -> None:
        self.huey = SqliteHuey("runs", filename=str(settings.bell_path), results=False)

        # a function of this module in either process: the queue knows tasks by module and name
        def work_on(run_id: int) -> None:
            (answer or _nobody_answers)(run_id)

        self._task = self.huey.task()(work_on)

    def ring(self, run_id: int) -> None:
        """Tell the worker about a run; ringing twice does no harm."""
        self._task(run_id)


def _nobody_answers(run_id: int) -> None:
    raise RuntimeError(f"run {run_id}: this process only rings")
