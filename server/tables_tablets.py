"""Tables of tablets: their pairing, and how large a millimetre is on their screens."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from server.tables_base import Base, random_id


class Tablet(Base):
    """A tablet that was paired at least once."""

    __tablename__ = "tablet"

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    label: Mapped[str | None]
    paired_at: Mapped[datetime]


class Calibration(Base):
    """What a card laid on a tablet's screen said; the id is made on the tablet."""

    __tablename__ = "calibration"
    __table_args__ = (CheckConstraint("px_per_mm > 0", name="px_per_mm"),)

    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    tablet_id: Mapped[str] = mapped_column(ForeignKey("tablet.id"), index=True)
    px_per_mm: Mapped[float]
    ratio: Mapped[float | None]
    screen_width_mm: Mapped[float | None]
    screen_height_mm: Mapped[float | None]
    made_at: Mapped[datetime | None]
    received_at: Mapped[datetime]
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))


class Token(Base):
    """What a paired tablet shows; only its hash is kept."""

    __tablename__ = "token"

    hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    tablet_id: Mapped[str] = mapped_column(ForeignKey("tablet.id"), index=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), index=True)
    read_until: Mapped[datetime]
    write_until: Mapped[datetime]
    revoked_at: Mapped[datetime | None]


class PairingCode(Base):
    """A code that turns into a token once; only its hash is kept."""

    __tablename__ = "pairing_code"

    hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), index=True)
    expires_at: Mapped[datetime]
    used_at: Mapped[datetime | None]
