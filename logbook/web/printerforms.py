"""What must be known of a printer, as a form."""

from decimal import Decimal

from wtforms import StringField
from wtforms.validators import Length as TextLength

from logbook.actions.printers import FIELDS
from logbook.web.fields import MAYBE, NEEDED, BenchForm, LengthField, NumberField, WrappedField


class ModeForm(BenchForm):
    """Another setting of its driver."""

    dpi = StringField("Dots per inch", [NEEDED, TextLength(max=40)], description="720, or across x down: 1440x720.")
    name = StringField("Called", [MAYBE, TextLength(max=120)], description="As the driver calls the setting.")


class PrinterForm(BenchForm):
    """What must be known before a pitch is measured or a print made on it."""

    prints_with = WrappedField(
        "Prints with", [MAYBE, TextLength(max=200)], description="Ink or toner, and where its safety data sheet lies."
    )
    native_dpi = StringField(
        "Dots per inch its driver takes",
        [MAYBE, TextLength(max=80)],
        description="Without making them anew: 720, 1440x720, or several: 360, 720.",
    )
    scaling_off = WrappedField(
        "Scaling switched off",
        [MAYBE, TextLength(max=300)],
        description="Where the driver is kept from scaling, fitting, borderless printing and sharpening.",
    )
    dry_hours = NumberField(
        "Its prints dry for, hours",
        [MAYBE],
        low=Decimal(0),
        high=Decimal(1000),
        description="As the ink's maker says; where the paper asks for longer, that counts. 24 is usual.",
    )
    manual = WrappedField(
        "Maker's manual", [MAYBE, TextLength(max=300)], description="Title, edition, where it is kept."
    )
    isolator = WrappedField(
        "Isolator or plug", [MAYBE, TextLength(max=300)], description="Where it is isolated before a jam is cleared."
    )

    widest = LengthField("Widest sheet", [MAYBE])

    def values(self) -> dict[str, str | Decimal | None]:
        """As the action takes them."""
        return {name: self[name].data for name in FIELDS}
