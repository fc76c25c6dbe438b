"""One line beside each field: what it means and what is usual. A field that brings its own line is not listed here.

By module, form and field; a form inherits the lines of the form that it is made from.
"""

from collections.abc import Iterator

from wtforms import Field

LINES = {
    "linkview.LinkForm.days": "Until the customer has looked; 14 is usual.",
    "arriving.LookForm.what": "One list at a time; customers first.",
    "batches.WriteForm.page": "What lies in the office printer: A4 nearly everywhere, Letter in North America.",
    # the bench
    "bench.BackForm.reason": "One sentence; it stays on the record.",
    "bench.SettledForm.lifted": "Each reason that holds it is settled by itself.",
    "bench.SignForm.machine": "What it was cut with; knife and rule need no machine.",
    "bench.SignForm.paper_lot": "What really lay in the printer; usually the lot that was planned.",
    "bench.LeaveForm.how": "How it left the shop.",
    "bench.LeaveForm.on": "The day it left; usually today.",
    "bench.LeaveForm.carrier": "Who takes it; only where it is sent.",
    "bench.LeaveForm.tracking": "The carrier's number, for the text to the customer.",
    "bench.RollersForm.machine": "What may run now stands first.",
    "bench.RollersForm.helper": "The second person at the rollers; nobody where you work alone.",
    "onpaper.PaperForm.person": "Who signed on paper; you are recorded as who took it over.",
    "onpaper.PaperForm.at": "As it stands on the page; waiting times count from then.",
    "onpaper.PaperForm.machine": "What it was cut with, as the page says.",
    "onpaper.RollersPaperForm.machine": "Which rollers were used, as the page says.",
    "onpaper.RollersPaperForm.helper": "The second person, as the page says.",
    "onpaper.RollersPaperForm.read_at": "When the cautions were read, before the rollers moved.",
    "onpaper.DoorPaperForm.how": "How it left the shop.",
    "onpaper.DoorPaperForm.on": "The day it left, as the page says.",
    "onpaper.DoorPaperForm.carrier": "Who took it; only where it was sent.",
    "onpaper.DoorPaperForm.tracking": "The carrier's number, where the page has one.",
    "verdictforms.DefectFields.cause": "As far as it is known; losses are counted by it.",
    "verdictforms.DefectFields.reason": "What one sees, in a few words; it stays on the record.",
    "verdictforms.VerdictForm.kind": "What becomes of this print.",
    "verdictforms.SpoiledForm.kind": "What becomes of the whole sheet.",
    "mounting.MountingForm.adhesive_lot": "What the print is bonded with; empty where it is not counted.",
    "mounting.MountingForm.count": "As many as the customer brought; there is no spare.",
    # coming in, and the shop
    "entry.SignInForm.name": "As the owner entered it.",
    "entry.SignInForm.password": "At least 8 characters; the owner can give a new one.",
    "shop_page.PasswordForm.current": "Asked so that nobody changes it at a screen that was left open.",
    "shop_page.PersonForm.role": "Most people are operators.",
    "shop_page.UnitsForm.units": "What a bare number means, and what pages and papers show.",
    "shop_page.UnitsForm.mark": "Either is read from everybody; pages show this one.",
    "status.SetUpForm.keep": "Older ones are deleted once a new one is whole; 14 is usual.",
    "status.SetUpForm.limit_days": "Then the first page of the day says so; 3 is usual.",
    "texts.WordingForm.small": "For a picture with too few pixels.",
    "texts.WordingForm.proof": "Goes out with the moving picture or the link.",
    "texts.WordingForm.collect": "When an order is packed.",
    "texts.WordingForm.sent": "When it has left with a carrier.",
    "texts.WordingForm.late": "When the day that was named will not be kept.",
    "places.PlaceForm.stages": "What is done at this spot; its page lists that work alone.",
    # orders
    "jobs.AnswerForm.verdict": "What the customer said to this proof.",
    "jobs.AnswerForm.how": "By which way the answer reached you.",
    "jobs.MaterialsForm.lens_lot": "The delivery that will be cut; each lot has a pitch of its own.",
    "jobs.MaterialsForm.mode": "The driver's setting that it will be printed with; a pitch belongs to it.",
    "jobs.MaterialsForm.paper": "The paper's type; another one is another pitch.",
    "jobs.MaterialsForm.paper_lot": "The delivery, where it is counted; may stay empty.",
    "jobs.MaterialsForm.adhesive_lot": "What bonds lens and print; may stay empty until then.",
    "jobs.MidwayForm.stage": "The next thing to be done to it.",
    "jobs.MidwayForm.count": "How many sheets stand there.",
    "jobs.RunForm.sample": "A sample never leaves as the order.",
    "jobs.RunForm.waste": "Marks help at trimming and need room on the paper; they are cut off.",
    "runs.SheetsForm.count": "How many sheets are printed of this file; usually one.",
    "orders.JobFields.quantity": "How many finished pieces leave the shop.",
    "orders.JobFields.use": "How it is looked at; it decides which lens serves.",
    "orders.JobFields.fit": "Cut is usual; a border keeps all of it, stretching distorts it.",
    "orders.JobFields.price": "Of one piece, for the quote and the year's end; may stay empty.",
    "orders.JobFields.kind": "Mounting only: the customer brings a print, and work begins at the adhesive.",
    "orders.MoneyForm.paid_on": "Empty until everything is paid.",
    "orders.OrderForm.contact": "Mail or telephone; may stay empty.",
    "orders.OrderForm.due": "The day it is wanted; lists are sorted by it.",
    "orders.OrderForm.note": "What everybody who works on it should know; may stay empty.",
    "orders.OrderForm.mode": "Which printer, in which setting of its driver.",
    "orders.OrderForm.lens_lot": "Which delivery; it can be changed on the job's page.",
    "reorders.AgainForm.due": "The day it is wanted this time.",
    "reorders.AgainForm.note": "What is different this time; may stay empty.",
    "reorders.JobAgainForm.quantity": "How many this time.",
    "quotes.QuoteForm.customer": "Who asks; one that is known already is offered.",
    "quotes.QuoteForm.contact": "Mail or telephone; may stay empty.",
    "quotes.QuoteForm.valid_until": "After that day it must be prolonged before it can become an order.",
    "quotes.QuoteForm.hourly_rate": "What an hour at the bench costs; the shop's own stands there once it is known.",
    "quotes.ProlongForm.valid_until": "The new last day.",
    "quotes.LineForm.artwork": "What you call it; it becomes the job's name.",
    "quotes.LineForm.width": "After trimming; a bare number is in your own unit.",
    "quotes.LineForm.height": "After trimming.",
    "quotes.LineForm.flip": "Walls: left – right. In the hand: either.",
    "quotes.LineForm.quantity": "Finished pieces; waste is reckoned beside them.",
    "quotes.LineForm.lens_lot": "The delivery whose price of a sheet is counted.",
    "quotes.AcceptForm.due": "The day that was agreed.",
    "quotes.AcceptForm.mode": "Which printer, in which setting of its driver.",
    "quotes.AcceptForm.paper": "What it is printed on.",
    # lenses and pitches
    "lenses.UseForm.width": "After trimming; a bare number is in your own unit.",
    "lenses.UseForm.height": "After trimming.",
    "lenses.UseForm.distance": "From where most people look: 40 cm in the hand, 1 to 3 m on a wall.",
    "lenses.UseForm.pictures": "Two for a flip; 6 to 12 for depth or movement.",
    "lenses.UseForm.use": "In the hand it is tilted; on a wall one walks past.",
    "lenses.UseForm.flip": "Walls: left – right. In the hand: either.",
    "lenses.ChooseForm.reason": "Where something speaks against it; otherwise it may stay empty.",
    "leaks.MakeForm.pitch": "At which lens lot, printer and paper the leak is measured.",
    "leaks.TapsForm.note": "Light, loupe, whatever one would want to know later.",
    "pitch.ConditionsForm.lens_lot": "The sheet that will be laid on; each lot has a pitch of its own.",
    "pitch.ConditionsForm.mode": "The driver's setting that the prints will be made with.",
    "pitch.ConditionsForm.paper": "The type that the prints will be made on.",
    "pitch.ConditionsForm.paper_lot": "The delivery, where it is counted; may stay empty.",
    "pitch.ConditionsForm.axis": "Which way the ridges lie; each way has a pitch of its own.",
    "pitch.ConditionsForm.temperature_c": "Lens and paper change with the room; 21 to 25 is usual.",
    "pitch.ConditionsForm.humidity_percent": "Paper grows with it; 45 to 55 is usual.",
    "pitch.CarryForm.known_since": "The day it was found, as far as it is known.",
    "pitch.ChartForm.centre": "Where the middle band lies: the lens maker's number at first.",
    "pitch.ChartForm.bands": "More bands, smaller steps; 11 is usual.",
    "pitch.PlainForm.note": "What one would want to know later.",
    "pitch.AcceptForm.note": "What one would want to know later.",
    "pitch.AcceptForm.reason": "Why it serves although something asks; it prints.",
    "pitch.WithdrawForm.reason": "One sentence; everybody who used it reads it.",
    # machines and stock
    "machines.MachineForm.drive": "Driven rollers draw in by themselves; their cautions are others.",
    "machines.MachineForm.cutting": "Its cautions follow from it.",
    "machines.MachineForm.widest": "What goes through it at most; may stay empty.",
    "machines.MachineForm.dpi": "As the driver is set: 720, or 1440x720 across and down.",
    "machines.AuthoriseForm.person": "Who was shown this machine and has read its cautions.",
    "machines.AuthoriseForm.until": "Then it is looked at anew; a year is usual.",
    "machines.AuthoriseForm.minor_issuer": "Who wrote the document.",
    "machines.AuthoriseForm.minor_adult": "Who stays beside them the whole time.",
    "machines.BackForm.done": "What was mended, by whom; it stays in the machine's history.",
    "machines.EventForm.what": "Some entries end pitches or ask for a new check; the page says which.",
    "machines.EventForm.note": "In a few words, as for whoever looks in a year.",
    "machines.EventForm.effect": "Only where it was measured; otherwise leave it open.",
    "machines.EventForm.mode": "One setting of its driver, or all of them.",
    "machines.OutForm.reason": "What somebody must know who wants to use it.",
    "machines.WrongCheckForm.check": "The one whose answers were wrong.",
    "machines.WrongCheckForm.reason": "What was not as it was answered.",
    "stock.MaterialForm.kind": "Lens, paper or adhesive.",
    "stock.LotFacts.place": "Shelf or box; whoever looks for it reads this.",
    "stock.LotFacts.sheet_width": "Of one sheet as delivered; prints are laid out on it.",
    "stock.LotFacts.sheet_height": "Of one sheet as delivered.",
    "stock.LotFacts.price": "What one sheet cost; quotes and losses count with it.",
    "stock.LotFacts.expires_on": "As on the wrapping; adhesives have one.",
    "stock.LotFacts.reorder_level": "When so many sheets are left, the first page of the day says so.",
    "stock.CountForm.now_there": "Sheets that you counted; the difference is written down.",
    "stock.AsideForm.reason": "What somebody must know who wants to use it.",
    "stock.ReleaseForm.reason": "What was found; its prints go on with it.",
}


def line_for(form: type, name: str) -> str:
    """The line of a form's field, its own or of a form that it is made from; empty where there is none."""
    return next((LINES[key] for key in _keys(form, name) if key in LINES), "")


def _keys(form: type, name: str) -> Iterator[str]:
    for kind in form.__mro__:
        yield f"{kind.__module__.rpartition('.')[2]}.{kind.__name__}.{name}"


def lay_beside(form: type, fields: dict[str, Field]) -> None:
    """Give every field that has no line of its own the one that stands here."""
    for name, field in fields.items():
        field.description = field.description or line_for(form, name)
