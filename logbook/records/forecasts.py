"""What a forecast was made from, frozen when somebody took it."""

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column, relationship

from logbook.records.base import Base
from logbook.records.pitch import PitchOnRecord


class ForecastSource(Base):
    """One test's pitch in a forecast: a forecast answers for all of them."""

    __tablename__ = "forecast_source"

    forecast_id: Mapped[int] = mapped_column(ForeignKey("pitch_on_record.id"), index=True)
    source_id: Mapped[int] = mapped_column(ForeignKey("pitch_on_record.id"), index=True)

    forecast: Mapped[PitchOnRecord] = relationship(foreign_keys=forecast_id)
    source: Mapped[PitchOnRecord] = relationship(foreign_keys=source_id)
