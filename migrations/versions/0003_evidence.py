"""Evidence: the figures that stood when a decision was made, frozen beside it.

Written out in full, so that it stays what it was when the kinds change. Only a table is added, and three columns are
explained better where the database keeps such words: rows of earlier books stay as they are.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql, sqlite

revision = "0003"
down_revision = "0002"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
SMALL = sa.Integer()
WORDS = sa.Text()
REAL: sa.types.TypeEngine[float] = postgresql.DOUBLE_PRECISION().with_variant(sqlite.REAL(), "sqlite")
LIVE = sa.text("struck_at IS NULL")

SQLITE_GUARDS = (
    "CREATE TRIGGER evidence_stays BEFORE DELETE ON \"evidence\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER evidence_keeps BEFORE UPDATE OF record, tally, line ON \"evidence\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
)

POSTGRESQL_GUARDS = (
    "CREATE TRIGGER evidence_stays BEFORE DELETE ON \"evidence\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "evidence" ENABLE ALWAYS TRIGGER evidence_stays',
    "CREATE TRIGGER evidence_is_kept BEFORE TRUNCATE ON \"evidence\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "evidence" ENABLE ALWAYS TRIGGER evidence_is_kept',
    "CREATE TRIGGER evidence_keeps BEFORE UPDATE OF record, tally, line ON \"evidence\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "evidence" ENABLE ALWAYS TRIGGER evidence_keeps',
)

METRIC_LIMIT = (
    "always in the figure's metric unit (t/ha, kg/m, kg, g, cm, %), whatever the vineyard's units; "
    "`vinebook guide figures` names it."
)
COMMENTS = (
    ("target_band", "low", REAL, f"Lower limit, {METRIC_LIMIT}"),
    ("target_band", "high", REAL, f"Upper limit, {METRIC_LIMIT}"),
    (
        "vineyard",
        "band_set",
        WORDS,
        "Name of the published set of bands to judge by (`vinebook guide bands`); empty takes the default set.",
    ),
)


def upgrade() -> None:
    """Make the table, its index and its guards, and explain three columns anew."""
    if op.get_bind().dialect.name == "postgresql":
        for table, column, kind, words in COMMENTS:
            op.alter_column(table, column, existing_type=kind, comment=words)
    op.create_table(
        "evidence",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("decision", WHOLE, nullable=False, comment="Decision that it was frozen for."),
        sa.Column("item", WHOLE, nullable=False, comment="Number of the figure in that evidence: 1, 2, …"),
        sa.Column("of_season", SMALL, nullable=False, comment="Season of the figure."),
        sa.Column("figure", WORDS, nullable=False, comment="Name of the figure."),
        sa.Column("bearer", WORDS, nullable=True, comment="Bearer, where it applies."),
        sa.Column("position", WORDS, nullable=True, comment="Node position, where it applies."),
        sa.Column("stage", WORDS, nullable=True, comment="Stage, where it applies."),
        sa.Column("pick", WHOLE, nullable=True, comment="Pick, where it applies."),
        sa.Column(
            "value", REAL, nullable=True, comment="Its value, in the figure's metric unit; empty where there was none."
        ),
        sa.Column("low", REAL, nullable=True, comment="Lower end of its interval."),
        sa.Column("high", REAL, nullable=True, comment="Upper end of its interval."),
        sa.Column("level", REAL, nullable=True, comment="Coverage of that interval in percent."),
        sa.Column("unit", WORDS, nullable=True, comment="Its metric unit."),
        sa.Column("per", WORDS, nullable=True, comment="What one is counted on."),
        sa.Column("n", WHOLE, nullable=True, comment="Vines, panels, lots or picks that it rests on."),
        sa.Column("chosen", WORDS, nullable=True, comment="How the vines were chosen."),
        sa.Column("basis", WORDS, nullable=True, comment="What it was worked out from, in words."),
        sa.Column("status", WORDS, nullable=False, comment="What could be said of it."),
        sa.Column("note", WORDS, nullable=True, comment="What was said with it."),
        sa.Column("band_low", REAL, nullable=True, comment="Lower limit of the band it was read against."),
        sa.Column("band_high", REAL, nullable=True, comment="Upper limit of that band."),
        sa.Column("band_name", WORDS, nullable=True, comment="Short name of that band's source."),
        sa.Column("band_source", WORDS, nullable=True, comment="Source of that band."),
        sa.Column("reading", WORDS, nullable=False, comment="How it was read against the band."),
        sa.Column(
            "carried_from", WORDS, nullable=True, comment="Block whose rows it rests on, where it was carried over."
        ),
        sa.Column("rows", WORDS, nullable=True, comment="Kinds and permanent numbers of the rows that it rests on."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.CheckConstraint('"item" >= 1', name=op.f("ck_evidence_item_is_possible")),
        sa.CheckConstraint('"n" >= 0', name=op.f("ck_evidence_n_is_possible")),
        sa.CheckConstraint(
            '"of_season" >= 1800 AND "of_season" <= 2200', name=op.f("ck_evidence_of_season_is_possible")
        ),
        sa.CheckConstraint('"pick" >= 0', name=op.f("ck_evidence_pick_is_possible")),
        sa.CheckConstraint(
            "\"status\" IN ('known', 'partial', 'pending', 'unknown')", name=op.f("ck_evidence_status_is_known")
        ),
        sa.ForeignKeyConstraint(
            ["decision"], ["decision.record"], name=op.f("fk_evidence_decision"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_evidence_tally"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_evidence")),
        sqlite_strict=True,
    )
    op.create_index(
        "uq_evidence_key", "evidence", ["decision", "item"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE
    )
    guards = POSTGRESQL_GUARDS if op.get_bind().dialect.name == "postgresql" else SQLITE_GUARDS
    for guard in guards:
        op.execute(sa.text(guard))
