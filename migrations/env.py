"""Runs the migrations, one process at a time, giving up rather than holding up the plant when a lock is taken."""

from functools import partial

import psycopg
from alembic import context
from sqlalchemy import create_engine, pool, text

url = context.config.get_main_option("sqlalchemy.url")
if url is None:
    raise SystemExit(
        "no database URL: migrations are run by `jointwright serve --migrate` or registry.migration.migrate()"
    )

# The driver reads the address itself, so that every way of writing one works here as it does everywhere else.
engine = create_engine("postgresql+psycopg://", creator=partial(psycopg.connect, url), poolclass=pool.NullPool)
with engine.connect() as connection:
    connection.execute(text("SELECT pg_advisory_lock(hashtext('jointwright migrations'))"))
    connection.execute(text("SET lock_timeout = '10s'"))
    connection.execute(text("SET statement_timeout = '15min'"))
    connection.commit()
    context.configure(connection=connection, transaction_per_migration=True)
    with context.begin_transaction():
        context.run_migrations()
    connection.commit()
engine.dispose()
