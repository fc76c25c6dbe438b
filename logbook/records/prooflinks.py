"""Links through which a customer looks at one proof and answers it, where the owner turned that on."""

from datetime import datetime

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.records.base import Base, Coded, UtcTime
from logbook.records.orders import Answer, Proof
from logbook.records.people import Person


class ProofLink(Coded, Base):
    """One link to one proof; of its token only the hash is kept. It takes one answer."""

    __tablename__ = "proof_link"

    proof_id: Mapped[int] = mapped_column(ForeignKey("proof.id"), index=True)
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    made_at: Mapped[datetime] = mapped_column(UtcTime)
    made_by_id: Mapped[int] = mapped_column(ForeignKey("person.id"))
    until: Mapped[datetime] = mapped_column(UtcTime)
    revoked_at: Mapped[datetime | None] = mapped_column(UtcTime)
    answer_id: Mapped[int | None] = mapped_column(ForeignKey("answer.id"), unique=True)
    answered_at: Mapped[datetime | None] = mapped_column(UtcTime, index=True)
    """When the answer came; None until then."""

    proof: Mapped[Proof] = relationship()
    made_by: Mapped[Person] = relationship()
    answer: Mapped[Answer | None] = relationship()
