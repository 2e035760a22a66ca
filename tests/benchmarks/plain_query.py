"""What reading commands are measured against: click and one SQLAlchemy Core query of the same file.

``plain_query.py BOOK`` prints the blocks; with ``--block CODE`` it prints rows and sum of clusters by season.
"""

from __future__ import annotations

import click
from sqlalchemy import Column, Integer, MetaData, Table, Text, create_engine, func, select

METADATA = MetaData()
BLOCK = Table(
    "block",
    METADATA,
    Column("record", Integer, primary_key=True),
    Column("vineyard", Integer),
    Column("code", Text),
    Column("name", Text),
    Column("from_season", Integer),
)
SAMPLE = Table(
    "sample",
    METADATA,
    Column("record", Integer, primary_key=True),
    Column("block", Integer),
    Column("season", Integer),
)
CLUSTER_TALLY = Table("cluster_tally", METADATA, Column("sample", Integer), Column("clusters", Integer))


@click.command()
@click.argument("book")
@click.option("--block")
def main(book: str, block: str | None) -> None:
    """Print what one query gives."""
    blocks = select(BLOCK.c.code, BLOCK.c.name, BLOCK.c.from_season, BLOCK.c.record).order_by(BLOCK.c.code)
    seasons = (
        select(SAMPLE.c.season, func.count(), func.sum(CLUSTER_TALLY.c.clusters))
        .select_from(BLOCK)
        .join(SAMPLE, SAMPLE.c.block == BLOCK.c.record)
        .join(CLUSTER_TALLY, CLUSTER_TALLY.c.sample == SAMPLE.c.record)
        .where(BLOCK.c.code == block)
        .group_by(SAMPLE.c.season)
        .order_by(SAMPLE.c.season)
    )
    url = book.replace("postgresql://", "postgresql+psycopg://") if "://" in book else f"sqlite:///{book}"
    with create_engine(url).connect() as connection:
        for row in connection.execute(seasons if block else blocks):
            click.echo("  ".join(map(str, row)))


if __name__ == "__main__":
    main()
