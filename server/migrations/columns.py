"""Words in which steps of the schema are written: columns, and tables made anew."""

import sqlalchemy as sa
from alembic import op


def ident(
    name: str, references: str | None = None, *, null: bool = False, part: bool = False
) -> "sa.Column[str]":
    """Return the column of a random id; a part is erased with what it belongs to."""
    keys = [] if references is None else [_key(references, part=part)]
    return sa.Column(name, sa.String(36), *keys, nullable=null)


def _key(references: str, *, part: bool = False) -> sa.ForeignKey:
    return sa.ForeignKey(references, ondelete="CASCADE" if part else None)


def text(name: str, *, null: bool = False) -> "sa.Column[str]":
    """Return a column of text."""
    return sa.Column(name, sa.String(), nullable=null)


def moment(name: str, *, null: bool = False) -> "sa.Column[object]":
    """Return the column of a moment."""
    return sa.Column(name, sa.DateTime(), nullable=null)


def day(name: str, *, null: bool = False) -> "sa.Column[object]":
    """Return the column of a day."""
    return sa.Column(name, sa.Date(), nullable=null)


def whole(name: str, *, null: bool = False) -> "sa.Column[int]":
    """Return a column of whole numbers."""
    return sa.Column(name, sa.Integer(), nullable=null)


def number(name: str, *, null: bool = False) -> "sa.Column[float]":
    """Return a column of numbers."""
    return sa.Column(name, sa.Double(), nullable=null)


def json(name: str, *, null: bool = False) -> "sa.Column[object]":
    """Return a column of JSON."""
    return sa.Column(name, sa.JSON(), nullable=null)


def rebuilt(table: str, *items: sa.schema.SchemaItem, ids: bool = True) -> None:
    """Make a table anew and copy its rows; columns it did not have take their default."""
    bind = op.get_bind()
    before = [row[1] for row in bind.execute(sa.text(f"PRAGMA table_info({table})")).all()]
    indexes = "SELECT name FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
    for (name,) in bind.execute(sa.text(f"{indexes} AND tbl_name = '{table}'")).all():
        op.execute(f"DROP INDEX {name}")
    op.rename_table(table, f"old_{table}")
    op.create_table(table, *items, sqlite_autoincrement=ids)
    columns = ", ".join(f'"{name}"' for name in before)
    op.execute(f'INSERT INTO "{table}" ({columns}) SELECT {columns} FROM "old_{table}"')  # noqa: S608 - our own names
    op.drop_table(f"old_{table}")
