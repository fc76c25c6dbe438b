"""Forms of what went wrong: about one print, and about a whole sheet."""

from wtforms import FileField, RadioField, SelectField, StringField
from wtforms.validators import Length as TextLength

from logbook.rules.defects import CAUSES
from logbook.web.fields import MAYBE, NEEDED, BenchForm
from logbook.web.shown import stage_name


class DefectFields(BenchForm):
    """What was wrong, the stage that caused it, and how it looks."""

    cause = SelectField(
        "What caused it",
        [MAYBE],
        choices={"": "not known"}
        | {code: f"{code} {words} ({stage_name(stage)})" for code, (words, stage) in CAUSES.items()},
        validate_choice=False,
    )
    reason = StringField("Why", [NEEDED, TextLength(max=300)])
    photo = FileField("Photograph of it", [MAYBE], description="Kept with the decision.")


class VerdictForm(DefectFields):
    """What becomes of a print that did not pass."""

    kind = RadioField(
        "Decision",
        [NEEDED],
        choices={
            "rework": "mend it and inspect again",
            "concession": "accept: let it go as it is (owner)",
            "replace": "replace: scrap it and make another from the same run",
            "scrap": "scrap it",
        },
    )
    word = StringField(
        "The customer's word",
        [MAYBE, TextLength(max=300)],
        description="Where it goes as it is: what the customer said to it, and how. Forgotten with the customer.",
    )


class SpoiledForm(DefectFields):
    """What becomes of a sheet that was spoiled before it was cut apart."""

    kind = RadioField(
        "Decision",
        [NEEDED],
        choices={
            "replace": "replace: scrap it and make another from the same run",
            "scrap": "scrap it",
        },
    )
