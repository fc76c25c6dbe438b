"""Papers that came with a lot: a delivery note, a data sheet. Stored as they came and never opened here."""

from datetime import datetime

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.records.base import Base, Coded, UtcTime
from logbook.records.files import KeptFile
from logbook.records.people import Person


class LotPaper(Coded, Base):
    """One file beside a lot."""

    __tablename__ = "lot_paper"

    lot_id: Mapped[int] = mapped_column(ForeignKey("lot.id"), index=True)
    file_id: Mapped[int] = mapped_column(ForeignKey("kept_file.id"), index=True)
    name: Mapped[str] = mapped_column(String(200))
    """As the file was called."""
    at: Mapped[datetime] = mapped_column(UtcTime)
    person_id: Mapped[int] = mapped_column(ForeignKey("person.id"))

    file: Mapped[KeptFile] = relationship(lazy="joined")
    person: Mapped[Person] = relationship(lazy="joined")
