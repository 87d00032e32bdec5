"""Tables of people: accounts and how they come in, children and who may see them."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from server.tables_base import Base, one_of, part_of, random_id

ROLES = ("assistant", "supervisor", "researcher", "owner")
INVITATIONS = ("owner", "join", "reset")
HANDS = ("left", "right", "mixed")
CONSENT_PURPOSES = ("measuring", "research", "samples", "photographs")
CONSENT_GIVERS = ("parent", "guardian", "child", "other")


class Account(Base):
    """An adult who can sign in, until the account is closed."""

    __tablename__ = "account"

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    name: Mapped[str] = mapped_column(unique=True)
    passphrase_hash: Mapped[str]
    supervisor_id: Mapped[str | None] = mapped_column(ForeignKey("account.id"), index=True)
    added_at: Mapped[datetime | None]
    closed_at: Mapped[datetime | None]
    second_factor: Mapped[str | None]
    second_factor_since: Mapped[datetime | None]
    second_factor_step: Mapped[int | None]
    role_rows: Mapped[list["AccountRole"]] = relationship(
        lazy="selectin", cascade="all, delete-orphan"
    )

    @property
    def roles(self) -> frozenset[str]:
        """What the account may do."""
        return frozenset(row.role for row in self.role_rows)


class AccountRole(Base):
    """One role of one account."""

    __tablename__ = "account_role"
    __table_args__ = (CheckConstraint(one_of("role", ROLES), name="role"),)

    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), primary_key=True)
    role: Mapped[str] = mapped_column(primary_key=True)


class Invitation(Base):
    """A link, used once, to make an account or to choose a new pass-phrase; only its hash is kept.

    `account_id` is whose pass-phrase it is for; after use, the account that was made.
    """

    __tablename__ = "invitation"
    __table_args__ = (CheckConstraint(one_of("purpose", INVITATIONS), name="purpose"),)

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    hash: Mapped[str] = mapped_column(String(64), unique=True)
    purpose: Mapped[str]
    roles: Mapped[list[str]]
    supervisor_id: Mapped[str | None] = mapped_column(ForeignKey("account.id"))
    account_id: Mapped[str | None] = mapped_column(ForeignKey("account.id"))
    made_by: Mapped[str | None] = mapped_column(ForeignKey("account.id"))
    made_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    used_at: Mapped[datetime | None]
    withdrawn_at: Mapped[datetime | None]


class SignIn(Base):
    """One signed-in browser; only the hash of its cookie is kept."""

    __tablename__ = "sign_in"

    hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), index=True)
    started_at: Mapped[datetime | None]
    seen_at: Mapped[datetime | None]
    expires_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]


class Child(Base):
    """A child: known by code and picture sign, by a random study code in exports."""

    __tablename__ = "child"
    __table_args__ = (
        CheckConstraint("length(birth_month) = 7", name="birth_month"),
        CheckConstraint(one_of("preferred_hand", HANDS), name="hand"),
    )

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    code: Mapped[str] = mapped_column(unique=True)
    nickname: Mapped[str | None]
    sign: Mapped[str]
    birth_month: Mapped[str | None]
    preferred_hand: Mapped[str | None]
    study_code: Mapped[str] = mapped_column(unique=True)
    added_at: Mapped[datetime | None]
    retention_until: Mapped[date | None] = mapped_column(index=True)


class CareLink(Base):
    """An account may see a child from one day to another."""

    __tablename__ = "care_link"

    id: Mapped[int] = mapped_column(primary_key=True)
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"), index=True)
    child_id: Mapped[str] = mapped_column(part_of("child.id"), index=True)
    from_day: Mapped[date]
    to_day: Mapped[date | None]
    made_by: Mapped[str | None] = mapped_column(ForeignKey("account.id"))


class Consent(Base):
    """What a family has agreed to, from one day until it is withdrawn."""

    __tablename__ = "consent"
    __table_args__ = (
        CheckConstraint(one_of("purpose", CONSENT_PURPOSES), name="purpose"),
        CheckConstraint(one_of("given_by", CONSENT_GIVERS), name="given_by"),
    )

    id: Mapped[str] = mapped_column(String(36), primary_key=True, default=random_id)
    child_id: Mapped[str] = mapped_column(part_of("child.id"), index=True)
    purpose: Mapped[str]
    given_on: Mapped[date]
    given_by: Mapped[str]
    account_id: Mapped[str] = mapped_column(ForeignKey("account.id"))
    at: Mapped[datetime]
    withdrawn_on: Mapped[date | None]
    withdrawn_at: Mapped[datetime | None]
