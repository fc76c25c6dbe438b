"""How a forecast comes about: every test in it, how it agrees with the others, what is only assumed."""

from flask import Blueprint

from logbook.actions import forecasts, jobs
from logbook.actions.finding import by_code
from logbook.engine.forecast import LEAST_REDUNDANCY, SUSPECT
from logbook.records.orders import Job
from logbook.web.acting import page, reading

pages = Blueprint("forecasts", __name__)


@pages.route("/job/<code>/forecast")
def for_job(code: str) -> tuple[str, int]:
    """The forecast for a job's materials with everything that went into it."""
    with reading() as session:
        job = by_code(session, Job, code)
        return page(
            "forecast.html",
            job=job,
            materials=jobs.materials_of(session, job),
            forecast=forecasts.for_job(session, job),
            suspect=SUSPECT,
            least=LEAST_REDUNDANCY,
        )
