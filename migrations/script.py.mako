"""${message}."""

from alembic import op

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}


def upgrade() -> None:
    """Bring a book from ${down_revision} to ${up_revision}; forward only."""
    ${upgrades if upgrades else "op.execute('SELECT 1')"}
