"""Draws of vines: what was drawn, and every vine of it in walking order.

Written out in full, so that it stays what it was when the kinds change. Only tables are added: rows of earlier books stay
as they are.
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql, sqlite

revision = "0002"
down_revision = "0001"

WHOLE = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
SMALL = sa.Integer()
WORDS = sa.Text()
REAL: sa.types.TypeEngine[float] = postgresql.DOUBLE_PRECISION().with_variant(sqlite.REAL(), "sqlite")
DAY = sa.Date().with_variant(sa.Text(), "sqlite")
LIVE = sa.text("struck_at IS NULL")

SQLITE_GUARDS = (
    "CREATE TRIGGER draw_stays BEFORE DELETE ON \"draw\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER draw_keeps BEFORE UPDATE OF record, tally, line ON \"draw\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
    "CREATE TRIGGER drawn_vine_stays BEFORE DELETE ON \"drawn_vine\" BEGIN SELECT RAISE(ABORT, 'rows are struck, never deleted'); END",
    "CREATE TRIGGER drawn_vine_keeps BEFORE UPDATE OF record, tally, line ON \"drawn_vine\" BEGIN SELECT RAISE(ABORT, 'a row keeps its permanent number, file and line'); END",
)

POSTGRESQL_GUARDS = (
    "CREATE TRIGGER draw_stays BEFORE DELETE ON \"draw\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "draw" ENABLE ALWAYS TRIGGER draw_stays',
    "CREATE TRIGGER draw_is_kept BEFORE TRUNCATE ON \"draw\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "draw" ENABLE ALWAYS TRIGGER draw_is_kept',
    "CREATE TRIGGER draw_keeps BEFORE UPDATE OF record, tally, line ON \"draw\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "draw" ENABLE ALWAYS TRIGGER draw_keeps',
    "CREATE TRIGGER drawn_vine_stays BEFORE DELETE ON \"drawn_vine\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "drawn_vine" ENABLE ALWAYS TRIGGER drawn_vine_stays',
    "CREATE TRIGGER drawn_vine_is_kept BEFORE TRUNCATE ON \"drawn_vine\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('rows are struck, never deleted')",
    'ALTER TABLE "drawn_vine" ENABLE ALWAYS TRIGGER drawn_vine_is_kept',
    "CREATE TRIGGER drawn_vine_keeps BEFORE UPDATE OF record, tally, line ON \"drawn_vine\" FOR EACH STATEMENT EXECUTE FUNCTION vinebook_refuse('a row keeps its permanent number, file and line')",
    'ALTER TABLE "drawn_vine" ENABLE ALWAYS TRIGGER drawn_vine_keeps',
)


def upgrade() -> None:
    """Make the two tables, their indexes and their guards."""
    _tables()
    guards = POSTGRESQL_GUARDS if op.get_bind().dialect.name == "postgresql" else SQLITE_GUARDS
    for guard in guards:
        op.execute(sa.text(guard))


def _tables() -> None:
    op.create_table(
        "draw",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("block", WHOLE, nullable=False, comment="Block."),
        sa.Column("season", SMALL, nullable=False, comment="Season that the vines are counted in."),
        sa.Column(
            "name",
            WORDS,
            nullable=False,
            comment="Short name of the draw, such as 1; tallies name it in their column draw.",
        ),
        sa.Column(
            "figure",
            WORDS,
            nullable=False,
            comment="Figure that the vines were drawn for, as `vinebook figures` prints it.",
        ),
        sa.Column(
            "chosen",
            WORDS,
            nullable=False,
            comment="How the vines were chosen: drawn at random; every k-th from a random start; panels at random.",
        ),
        sa.Column(
            "parts",
            WORDS,
            nullable=True,
            comment="Parts of the block that were drawn for themselves, each with its rows.",
        ),
        sa.Column("panel_size", WHOLE, nullable=True, comment="Vine positions in a panel, where panels were drawn."),
        sa.Column(
            "step",
            WHOLE,
            nullable=True,
            comment="Positions from one drawn vine to the next, where every k-th was drawn.",
        ),
        sa.Column("start", WHOLE, nullable=True, comment="First position drawn, where every k-th was drawn."),
        sa.Column("seed", WHOLE, nullable=False, comment="Seed of the draw; the same seed draws the same vines again."),
        sa.Column("vines", WHOLE, nullable=False, comment="Vines drawn."),
        sa.Column("positions", WHOLE, nullable=False, comment="Vine positions in the rows that were drawn from."),
        sa.Column("within_percent", REAL, nullable=True, comment="Half width of a 95 % interval that was wanted."),
        sa.Column(
            "half_width_percent", REAL, nullable=True, comment="Half width of a 95 % interval that was expected."
        ),
        sa.Column(
            "cv_percent",
            REAL,
            nullable=True,
            comment="Spread between vines that the expectation rests on, as a share of the mean.",
        ),
        sa.Column("cv_from", WORDS, nullable=True, comment="Where that spread comes from."),
        sa.Column("drawn_on", DAY, nullable=False, comment="Day of the draw."),
        sa.Column("drawn_by", WORDS, nullable=False, comment="Who drew; initials or a number will do."),
        sa.Column("note", WORDS, nullable=True, comment="Anything else."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.CheckConstraint("\"chosen\" IN ('random', 'every_kth', 'panels')", name=op.f("ck_draw_chosen_is_known")),
        sa.CheckConstraint('"cv_percent" >= 0 AND "cv_percent" <= 10000', name=op.f("ck_draw_cv_percent_is_possible")),
        sa.CheckConstraint(
            '"half_width_percent" >= 0 AND "half_width_percent" <= 10000',
            name=op.f("ck_draw_half_width_percent_is_possible"),
        ),
        sa.CheckConstraint('"panel_size" >= 1', name=op.f("ck_draw_panel_size_is_possible")),
        sa.CheckConstraint('"positions" >= 1', name=op.f("ck_draw_positions_is_possible")),
        sa.CheckConstraint('"season" >= 1800 AND "season" <= 2200', name=op.f("ck_draw_season_is_possible")),
        sa.CheckConstraint('"seed" >= 0', name=op.f("ck_draw_seed_is_possible")),
        sa.CheckConstraint('"start" >= 1', name=op.f("ck_draw_start_is_possible")),
        sa.CheckConstraint('"step" >= 1', name=op.f("ck_draw_step_is_possible")),
        sa.CheckConstraint('"vines" >= 1', name=op.f("ck_draw_vines_is_possible")),
        sa.CheckConstraint(
            '"within_percent" >= 0 AND "within_percent" <= 1000', name=op.f("ck_draw_within_percent_is_possible")
        ),
        sa.ForeignKeyConstraint(["block"], ["block.record"], name=op.f("fk_draw_block"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_draw_tally"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_draw")),
        sqlite_strict=True,
    )
    op.create_index(
        "uq_draw_key", "draw", ["block", "season", "name"], unique=True, sqlite_where=LIVE, postgresql_where=LIVE
    )
    op.create_table(
        "drawn_vine",
        sa.Column("record", WHOLE, autoincrement=False, nullable=False, comment="book-wide permanent number"),
        sa.Column("draw", WHOLE, nullable=False, comment="Draw."),
        sa.Column("number", WHOLE, nullable=False, comment="Number in walking order, from 1."),
        sa.Column("row", WHOLE, nullable=False, comment="Number of the row."),
        sa.Column("vine", WHOLE, nullable=False, comment="Position of the vine from the numbered end of its row."),
        sa.Column("part", WORDS, nullable=False, comment="Part of the block (stratum); empty for the whole block."),
        sa.Column("panel", WHOLE, nullable=True, comment="Number of the panel in its row, where panels were drawn."),
        sa.Column("tally", WHOLE, nullable=False, comment="kept file"),
        sa.Column("line", WHOLE, nullable=False, comment="line in that file"),
        sa.Column(
            "amended_at", WORDS, nullable=True, comment="UTC time of the latest amendment; empty while there is none"
        ),
        sa.Column(
            "struck_at", WORDS, nullable=True, comment="UTC time at which the row was struck; empty while it is live"
        ),
        sa.CheckConstraint('"number" >= 1', name=op.f("ck_drawn_vine_number_is_possible")),
        sa.CheckConstraint('"panel" >= 1', name=op.f("ck_drawn_vine_panel_is_possible")),
        sa.CheckConstraint('"row" >= 1', name=op.f("ck_drawn_vine_row_is_possible")),
        sa.CheckConstraint('"vine" >= 1', name=op.f("ck_drawn_vine_vine_is_possible")),
        sa.ForeignKeyConstraint(["draw"], ["draw.record"], name=op.f("fk_drawn_vine_draw"), ondelete="RESTRICT"),
        sa.ForeignKeyConstraint(["tally"], ["tally.number"], name=op.f("fk_drawn_vine_tally"), ondelete="RESTRICT"),
        sa.PrimaryKeyConstraint("record", name=op.f("pk_drawn_vine")),
        sqlite_strict=True,
    )
    op.create_index(
        "uq_drawn_vine_key",
        "drawn_vine",
        ["draw", "row", "vine"],
        unique=True,
        sqlite_where=LIVE,
        postgresql_where=LIVE,
    )
